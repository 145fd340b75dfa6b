// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.refine;

import dev.cistern.ledger.Handover;
import dev.cistern.ledger.Submission;
import dev.cistern.mapping.EntryReader;
import dev.cistern.mapping.Limits;
import dev.cistern.mapping.Mapping;
import dev.cistern.scan.Arrival;
import dev.cistern.scan.RawEntry;
import dev.cistern.scan.Refined;
import dev.cistern.scan.Sha256;
import java.io.ByteArrayInputStream;
import java.io.IOException;
import java.time.Clock;
import java.util.Map;
import java.util.Objects;
import org.jspecify.annotations.Nullable;

/** Reads a form post and checks it; keeps nothing. */
public final class FormReading {
  private final Feeds feeds;
  private final Refinery refinery;
  private final Clock clock;

  public FormReading(Feeds feeds, Refinery refinery, Clock clock) {
    this.feeds = feeds;
    this.refinery = refinery;
    this.clock = clock;
  }

  /** What a post is known by: the sender's key, or where it gave none, the hash of its bytes. */
  public static Handover handover(
      String source, @Nullable String contentType, @Nullable String idempotencyKey, byte[] bytes) {
    String key = idempotencyKey == null ? "sha256:" + Sha256.hex(bytes) : idempotencyKey;
    return new Handover(source, Submission.FORM, null, contentType, key);
  }

  public Refined read(Handover handover, byte[] bytes) throws IOException {
    Mapping mapping = feeds.of(handover.source());
    RawEntry raw = first(mapping, handover.contentType(), bytes);
    Arrival arrival = new Arrival(handover.source(), clock.instant(), 1, handover.idempotencyKey());
    return refinery.refine(mapping, raw, Map.of(), arrival);
  }

  private static RawEntry first(Mapping mapping, @Nullable String contentType, byte[] bytes)
      throws IOException {
    try (EntryReader reader =
        mapping.open(new ByteArrayInputStream(bytes), contentType, Limits.standard())) {
      return Objects.requireNonNull(reader.next(), "a form is one entry");
    }
  }
}
