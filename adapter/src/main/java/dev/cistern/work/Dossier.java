// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.work;

import dev.cistern.fhir.BundleBuilder;
import dev.cistern.fhir.FhirJson;
import dev.cistern.fhir.KnownDevices;
import dev.cistern.fhir.Outgoing;
import dev.cistern.fhir.ResourceBuilder;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Records;
import dev.cistern.ledger.Submission;
import dev.cistern.ledger.Trail;
import dev.cistern.plant.Plant;
import dev.cistern.scan.CisternException;
import dev.cistern.scan.Field;
import dev.cistern.scan.FieldValue;
import java.io.IOException;
import java.nio.charset.StandardCharsets;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import org.jspecify.annotations.Nullable;

/**
 * One entry whole: what was sent, how it was read, what became of it.
 *
 * @param raw the entry's own bytes, or the beginning of its submission where it has none of its
 *     own, as text; null where it was purged
 * @param cut whether there is more of it than is shown
 * @param fields the fields as its mapping reads them today; none where the source is not in the
 *     settings any more
 */
public record Dossier(
    Entry entry,
    Submission submission,
    @Nullable String raw,
    boolean cut,
    Map<Field, FieldValue> fields,
    List<Records.Attempt> attempts,
    List<Line> trail) {
  private static final int MOST_RAW = 8 * 1024;

  public Dossier {
    attempts = List.copyOf(attempts);
    trail = List.copyOf(trail);
  }

  /**
   * One event with what it says beside its detail.
   *
   * @param payload old and new values, or a reason, as JSON; null where there is none
   */
  public record Line(Trail.Event event, @Nullable String payload) {
    /** Never shows the payload. */
    @Override
    public String toString() {
      return "Line[" + event.seq() + "]";
    }
  }

  public static Dossier of(Plant plant, Entry entry) {
    Submission submission = plant.ledger().inbox().find(entry.submission()).orElseThrow();
    boolean own = entry.place().hasBytes();
    long offset = own ? entry.place().offset() : 0;
    long length = own ? entry.place().length() : submission.size();
    List<Line> trail = new ArrayList<>();
    plant
        .ledger()
        .trail(
            entry.id(),
            null,
            event -> trail.add(new Line(event, plant.ledger().trailPayload(event.seq()))));
    return new Dossier(
        entry,
        submission,
        raw(plant, submission, offset, (int) Math.min(length, MOST_RAW)),
        length > MOST_RAW,
        submission.purgedAt() == null && plant.feeds().has(entry.source())
            ? plant.replay().decoded(entry).fields().values()
            : Map.of(),
        plant.ledger().records().attempts(entry.id()),
        trail);
  }

  private static @Nullable String raw(Plant plant, Submission submission, long offset, int length) {
    if (submission.purgedAt() != null) {
      return null;
    }
    try {
      return new String(
          plant.ledger().inbox().bytes(submission.id(), offset, length), StandardCharsets.UTF_8);
    } catch (IOException e) {
      throw new CisternException(
          "The bytes of submission " + submission.id() + " cannot be read from the ledger.", e);
    }
  }

  /** What would be sent for an entry, as JSON; null where nothing would. */
  public static @Nullable String bundle(Plant plant, Entry entry) {
    Outgoing outgoing =
        entry.code() == null && entry.state() != EntryState.RETURNED
            ? plant.postbox().parcels().shown(entry)
            : null;
    if (outgoing == null) {
      return null;
    }
    BundleBuilder builder =
        new BundleBuilder(new ResourceBuilder(plant.fhir()), BundleBuilder.Mode.CREATE_ONCE);
    return FhirJson.encode(builder.transaction(List.of(outgoing), KnownDevices.NONE).bundle());
  }

  /** Never shows what it holds. */
  @Override
  public String toString() {
    return "Dossier[" + entry.id() + "]";
  }
}
