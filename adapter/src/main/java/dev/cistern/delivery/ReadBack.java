// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.fhir.Differences;
import dev.cistern.fhir.FhirJson;
import dev.cistern.fhir.Outgoing;
import dev.cistern.fhir.ResourceBuilder;
import dev.cistern.fhir.Write;
import dev.cistern.ledger.Outbox;
import dev.cistern.scan.Derived;
import dev.cistern.scan.ScanKey;
import dev.cistern.wire.Answer;
import dev.cistern.wire.FhirHttp;
import java.util.ArrayList;
import java.util.EnumMap;
import java.util.List;
import java.util.Map;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Observation;

/** Reads a result back from the server and compares it with what was to be written. */
public final class ReadBack {
  private final FhirHttp http;
  private final ResourceBuilder resources;

  ReadBack(FhirHttp http, ResourceBuilder resources) {
    this.http = http;
    this.resources = resources;
  }

  /** What is at the server. */
  public sealed interface Seen {
    /**
     * It is there.
     *
     * @param derived where what is derived from it stands, as far as it is there
     * @param differences the paths in which it differs, none where it is the same; what is derived
     *     from it is named by its code
     */
    record There(
        Observation observation, Map<Derived, Outbox.Landed> derived, List<String> differences)
        implements Seen {
      public There {
        derived = Map.copyOf(derived);
        differences = List.copyOf(differences);
      }

      /** Where, and in which version. */
      public Outbox.Landed at() {
        return AlreadyThere.at(observation);
      }

      /** With what was seen of a derived value; anything but its being there decides for all. */
      private Seen with(Derived kind, Seen seen) {
        List<String> more = new ArrayList<>(differences);
        if (seen instanceof Missing) {
          more.add(kind.code());
          return new There(observation, derived, more);
        }
        if (!(seen instanceof There there)) {
          return seen;
        }
        there
            .differences()
            .forEach(path -> more.add(path.replaceFirst("^Observation", kind.code())));
        Map<Derived, Outbox.Landed> places = new EnumMap<>(Derived.class);
        places.putAll(derived);
        places.put(kind, there.at());
        return new There(observation, places, more);
      }

      public boolean same() {
        return differences.isEmpty();
      }
    }

    /** It is not. */
    record Missing() implements Seen {}

    /** It was deleted. */
    record Deleted() implements Seen {}

    /** More than one carries our identifier. */
    record Several(int count) implements Seen {}

    /** The server did not say. */
    record NotRead(Answer answer) implements Seen {}
  }

  /** What stands at an address. */
  sealed interface Standing {
    /** This. */
    record There(Observation observation) implements Standing {}

    /** Nothing, or nothing any more. */
    record Gone() implements Standing {}

    /** The server did not say. */
    record NotRead(Answer answer) implements Standing {}
  }

  /** Reads what is at an address, whatever it is like. */
  Standing standing(String location) {
    Answer answer = http.get(location);
    if (!(answer instanceof Answer.Answered answered)) {
      return new Standing.NotRead(answer);
    }
    if (answered.status() == 404 || answered.status() == 410) {
      return new Standing.Gone();
    }
    Observation found =
        answered.status() == 200 ? FhirJson.parseOrNull(Observation.class, answered.body()) : null;
    return found == null ? new Standing.NotRead(answer) : new Standing.There(found);
  }

  /** Reads by address whether anything is there, and in which version; compares nothing. */
  public Seen present(String location) {
    Answer answer = http.get(location);
    if (!(answer instanceof Answer.Answered answered)) {
      return new Seen.NotRead(answer);
    }
    Observation found =
        answered.status() == 200 ? FhirJson.parseOrNull(Observation.class, answered.body()) : null;
    if (found != null) {
      return new Seen.There(found, Map.of(), List.of());
    }
    return switch (answered.status()) {
      case 404 -> new Seen.Missing();
      case 410 -> new Seen.Deleted();
      default -> new Seen.NotRead(answer);
    };
  }

  /** Reads where the write put it, and what is derived from it. */
  public Seen of(Outgoing sent) {
    return withDerived(sent, find(sent.write(), sent.release().key(), expected(sent)));
  }

  /** Reads what a conditional create found, and what is derived from it. */
  Seen at(String location, Outgoing sent) {
    return withDerived(sent, at(location, expected(sent)));
  }

  private Observation expected(Outgoing sent) {
    return resources.observation(sent.release());
  }

  private Seen withDerived(Outgoing sent, Seen result) {
    Seen seen = result;
    for (Outgoing.Part part : sent.derived()) {
      if (!(seen instanceof Seen.There there)) {
        return seen;
      }
      ScanKey key = resources.derivedKey(part.kind(), sent.release().key());
      Observation expected = resources.derived(part.kind(), sent.release());
      seen = there.with(part.kind(), find(part.write(), key, expected));
    }
    return seen;
  }

  /** Where we chose the place, or know it, it is looked at; a search may lag behind. */
  private Seen find(Write write, ScanKey key, Observation expected) {
    if (write instanceof Write.Update update) {
      return at("Observation/" + update.observationId(), expected);
    }
    return write instanceof Write.Put
        ? at("Observation/" + resources.observationId(key), expected)
        : byIdentifier(key, expected);
  }

  /** Reads by address: {@code Observation/17}. */
  private Seen at(String location, Observation expected) {
    Answer answer = http.get(location);
    if (!(answer instanceof Answer.Answered answered)) {
      return new Seen.NotRead(answer);
    }
    return switch (answered.status()) {
      case 200 -> compare(answered.body(), expected, answer);
      case 404 -> new Seen.Missing();
      case 410 -> new Seen.Deleted();
      default -> new Seen.NotRead(answer);
    };
  }

  /** Looks for our identifier. */
  private Seen byIdentifier(ScanKey key, Observation expected) {
    Answer answer = http.get("Observation?" + resources.resultToken(key).query("identifier"));
    if (!(answer instanceof Answer.Answered answered) || answered.status() != 200) {
      return new Seen.NotRead(answer);
    }
    Bundle bundle = FhirJson.parseOrNull(Bundle.class, answered.body());
    if (bundle == null) {
      return new Seen.NotRead(new Answer.Unknown("the answer was not FHIR"));
    }
    List<Observation> found =
        bundle.getEntry().stream()
            .map(Bundle.BundleEntryComponent::getResource)
            .filter(Observation.class::isInstance)
            .map(Observation.class::cast)
            .toList();
    if (found.isEmpty()) {
      return new Seen.Missing();
    }
    return found.size() > 1 ? new Seen.Several(found.size()) : there(found.get(0), expected);
  }

  private Seen compare(String body, Observation expected, Answer answer) {
    Observation actual = FhirJson.parseOrNull(Observation.class, body);
    return actual == null ? new Seen.NotRead(answer) : there(actual, expected);
  }

  private Seen there(Observation actual, Observation expected) {
    return new Seen.There(actual, Map.of(), Differences.between(expected, actual));
  }
}
