// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import ca.uhn.fhir.parser.DataFormatException;
import dev.cistern.fhir.Differences;
import dev.cistern.fhir.FhirJson;
import dev.cistern.fhir.Release;
import dev.cistern.fhir.ResourceBuilder;
import dev.cistern.fhir.Token;
import dev.cistern.ledger.Outbox;
import dev.cistern.wire.Answer;
import dev.cistern.wire.FhirHttp;
import java.util.List;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Observation;
import org.jspecify.annotations.Nullable;

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
    /** It is there; the paths in which it differs, none where it is the same. */
    record There(Outbox.Landed at, List<String> differences) implements Seen {
      public There {
        differences = List.copyOf(differences);
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
    Observation found = answered.status() == 200 ? observation(answered.body()) : null;
    return found == null ? new Standing.NotRead(answer) : new Standing.There(found);
  }

  /** Reads by address whether anything is there, and in which version; compares nothing. */
  public Seen present(String location) {
    Answer answer = http.get(location);
    if (!(answer instanceof Answer.Answered answered)) {
      return new Seen.NotRead(answer);
    }
    Observation found = answered.status() == 200 ? observation(answered.body()) : null;
    if (found != null) {
      return new Seen.There(new Outbox.Landed(location, found.getMeta().getVersionId()), List.of());
    }
    return switch (answered.status()) {
      case 404 -> new Seen.Missing();
      case 410 -> new Seen.Deleted();
      default -> new Seen.NotRead(answer);
    };
  }

  /** Reads by address: {@code Observation/17}. */
  public Seen at(String location, Release expected) {
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

  /** Reads under the id made from the key. */
  Seen underOurId(Release expected) {
    return at("Observation/" + resources.observationId(expected.key()), expected);
  }

  /** Looks for our identifier. */
  public Seen byIdentifier(Release expected) {
    Token token = resources.resultToken(expected.key());
    Answer answer = http.get("Observation?" + queryOf(token));
    if (!(answer instanceof Answer.Answered answered) || answered.status() != 200) {
      return new Seen.NotRead(answer);
    }
    try {
      List<Observation> found =
          FhirJson.parse(Bundle.class, answered.body()).getEntry().stream()
              .map(Bundle.BundleEntryComponent::getResource)
              .filter(Observation.class::isInstance)
              .map(Observation.class::cast)
              .toList();
      if (found.isEmpty()) {
        return new Seen.Missing();
      }
      return found.size() > 1 ? new Seen.Several(found.size()) : there(found.get(0), expected);
    } catch (DataFormatException | ClassCastException e) {
      return new Seen.NotRead(new Answer.Unknown("the answer was not FHIR"));
    }
  }

  private static String queryOf(Token token) {
    return token.query("identifier").replace("|", "%7C");
  }

  private Seen compare(String body, Release expected, Answer answer) {
    Observation actual = observation(body);
    return actual == null ? new Seen.NotRead(answer) : there(actual, expected);
  }

  private static @Nullable Observation observation(String body) {
    try {
      return FhirJson.parse(Observation.class, body);
    } catch (DataFormatException | ClassCastException e) {
      return null;
    }
  }

  private Seen there(Observation actual, Release expected) {
    String version = actual.getMeta().getVersionId();
    Outbox.Landed at =
        new Outbox.Landed("Observation/" + actual.getIdElement().getIdPart(), version);
    return new Seen.There(at, Differences.between(resources.observation(expected), actual));
  }
}
