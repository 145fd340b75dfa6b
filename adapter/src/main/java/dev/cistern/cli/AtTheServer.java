// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import dev.cistern.config.Settings;
import dev.cistern.delivery.ReadBack;
import dev.cistern.fhir.Outgoing;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.Outbox;
import dev.cistern.ledger.Places;
import dev.cistern.ledger.Reconciliation;
import dev.cistern.plant.Plant;
import dev.cistern.wire.Answer;
import java.util.ArrayList;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import org.jspecify.annotations.Nullable;

/**
 * How the server differs from what the ledger says.
 *
 * @param differences delivered entries that do not stand there as they were written
 * @param strangers what carries an identifier of ours, where this ledger wrote nothing
 */
record AtTheServer(List<Difference> differences, List<String> strangers) {
  private static final int PAGE = 200;

  static final AtTheServer NOTHING = new AtTheServer(List.of(), List.of());

  AtTheServer {
    differences = List.copyOf(differences);
    strangers = List.copyOf(strangers);
  }

  record Difference(long entry, String what) {}

  boolean holds() {
    return differences.isEmpty() && strangers.isEmpty();
  }

  /**
   * @param all whether the span is everything: only then can be told what is too much
   * @throws NetworkDown where the server does not answer
   */
  static AtTheServer compare(Plant plant, Reconciliation.Span span, boolean all) {
    return new AtTheServer(differences(plant, span), all ? strangers(plant) : List.of());
  }

  /** First what is there, then what we know: what is written meanwhile is known by then. */
  private static List<String> strangers(Plant plant) {
    Map<String, String> there = new LinkedHashMap<>();
    Answer failed = plant.postbox().census().take(there::put);
    if (failed != null) {
      throw silent();
    }
    Places places = Places.of(plant.ledger());
    there.keySet().removeAll(places.written());
    there.values().removeAll(plant.postbox().parcels().keysAtTheServer(places.inFlight()));
    return List.copyOf(there.keySet());
  }

  private static List<Difference> differences(Plant plant, Reconciliation.Span span) {
    Reconciliation reconciliation = new Reconciliation(plant.ledger());
    List<Difference> differences = new ArrayList<>();
    long after = 0;
    List<Entry> page;
    do {
      page = reconciliation.delivered(span, after, PAGE);
      for (Entry entry : page) {
        after = entry.id();
        String what = difference(plant, entry);
        if (what != null) {
          differences.add(new Difference(entry.id(), what));
        }
      }
    } while (page.size() == PAGE);
    return differences;
  }

  private static @Nullable String difference(Plant plant, Entry entry) {
    Outgoing written = plant.postbox().parcels().written(entry);
    String location = entry.location();
    if ((written == null && entry.purgedAt() == null) || location == null) {
      return "is delivered, but the ledger does not say what or where it is";
    }
    if (written == null) {
      return purged(plant, entry, location);
    }
    ReadBack.Seen seen = plant.postbox().readBack().of(written);
    if (seen instanceof ReadBack.Seen.There there) {
      return difference(plant, entry, there);
    }
    return otherwise(seen);
  }

  /** Which record a patient was found under is not kept: that is told by the version alone. */
  private static @Nullable String difference(Plant plant, Entry entry, ReadBack.Seen.There there) {
    boolean lookedUp = plant.settings().patient().reference() == Settings.Reference.LOOKUP;
    List<String> paths =
        there.differences().stream()
            .filter(path -> !lookedUp || !path.contains(".subject"))
            .toList();
    if (!paths.isEmpty()) {
      return "differs at the server in " + String.join(", ", paths);
    }
    return lookedUp && !Objects.equals(there.at().version(), entry.version())
        ? rewritten(there.at(), entry.version())
            + "; it says the same, but whether of the same patient cannot be told"
        : null;
  }

  private static String rewritten(Outbox.Landed there, @Nullable String written) {
    return "was changed at the server: version "
        + there.version()
        + " stands there, version "
        + written
        + " was written";
  }

  /** What it said was purged: only whether the version still stands can be told. */
  private static @Nullable String purged(Plant plant, Entry entry, String location) {
    List<Outbox.Landed> places = new ArrayList<>();
    places.add(new Outbox.Landed(location, entry.version()));
    places.addAll(entry.derived().values());
    for (Outbox.Landed place : places) {
      ReadBack.Seen seen = plant.postbox().readBack().present(place.location());
      if (!(seen instanceof ReadBack.Seen.There there)) {
        return otherwise(seen);
      }
      if (!Objects.equals(there.at().version(), place.version())) {
        return rewritten(there.at(), place.version()) + " (what it said was purged here)";
      }
    }
    return null;
  }

  private static String otherwise(ReadBack.Seen seen) {
    if (seen instanceof ReadBack.Seen.Missing) {
      return "is not at the server";
    }
    if (seen instanceof ReadBack.Seen.Deleted) {
      return "was deleted at the server";
    }
    throw silent();
  }

  private static NetworkDown silent() {
    return new NetworkDown("The server does not answer; nothing can be read back now.");
  }
}
