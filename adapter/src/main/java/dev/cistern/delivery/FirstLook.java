// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.fhir.BundleBuilder.Mode;
import dev.cistern.fhir.FhirJson;
import dev.cistern.fhir.ResourceBuilder;
import dev.cistern.scan.ScanKey;
import dev.cistern.wire.Answer;
import dev.cistern.wire.FhirHttp;
import java.util.ArrayList;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import java.util.stream.Collectors;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Bundle.BundleEntryComponent;
import org.hl7.fhir.r4.model.Bundle.BundleType;
import org.hl7.fhir.r4.model.Bundle.HTTPVerb;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Resource;
import org.jspecify.annotations.Nullable;

/**
 * Looks what the server holds of results before they are written for the first time. A ledger that
 * was restored from an old backup does not know what it wrote since: a PUT would replace a newer
 * version, or bring back what was deleted. One request for a bundle where the server takes batches.
 */
final class FirstLook {
  /** So many results in one request: a search for more makes an address longer than some take. */
  private static final int MOST = 25;

  private static final Answer NOT_FHIR = new Answer.Unknown("the answer was not FHIR");

  private final FhirHttp http;
  private final ResourceBuilder resources;
  private volatile boolean batches = true;

  FirstLook(FhirHttp http, ResourceBuilder resources) {
    this.http = http;
    this.resources = resources;
  }

  /** What the server holds of a result, or of a value derived from one. */
  sealed interface Found {
    /** Nothing, and there never was anything under an id of ours. */
    record Nothing() implements Found {}

    /** It was deleted. */
    record Deleted() implements Found {}

    /** This. */
    record There(Observation observation) implements Found {}

    /** More than one carries its identifier. */
    record Several(int count) implements Found {}

    /** The server did not say. */
    record NotRead(Answer answer) implements Found {}
  }

  /**
   * @param mode with ids of ours, each is read under its id, which is true at once and tells what
   *     was deleted; all are searched for by identifier, whatever id they have
   */
  Map<ScanKey, Found> look(List<ScanKey> keys, Mode mode) {
    Map<ScanKey, Found> found = new LinkedHashMap<>();
    for (int from = 0; from < keys.size(); from += MOST) {
      List<ScanKey> some = keys.subList(from, Math.min(keys.size(), from + MOST));
      Map<ScanKey, Found> told = mode == Mode.PUT && batches ? together(some) : null;
      if (told == null) {
        // Without batches, which not every server takes, each is read by itself.
        told = new LinkedHashMap<>();
        Searched searched = search(some);
        for (ScanKey key : some) {
          told.put(key, mode == Mode.PUT ? searched.or(key, read(key)) : searched.of(key));
        }
      }
      found.putAll(told);
    }
    return found;
  }

  /** Looks for one, under whichever id. */
  Found look(ScanKey key) {
    return search(List.of(key)).or(key, read(key));
  }

  /** Null where the server does not answer a batch as one. */
  private @Nullable Map<ScanKey, Found> together(List<ScanKey> keys) {
    Bundle batch = new Bundle().setType(BundleType.BATCH);
    keys.forEach(key -> get(batch, address(key)));
    get(batch, query(keys));
    Answer answer = http.post("", FhirHttp.FHIR_JSON, FhirJson.encode(batch));
    if (!(answer instanceof Answer.Answered answered)) {
      return all(keys, answer);
    }
    Bundle response =
        switch (AnswerClass.of(answered.status())) {
          case DONE -> Transaction.reads(answered.body(), keys.size() + 1);
          case LATER, AUTHENTICATION -> null;
          default -> {
            batches = false;
            yield null;
          }
        };
    if (response == null) {
      return batches ? all(keys, answer) : null;
    }
    Resource last = response.getEntry().get(keys.size()).getResource();
    Searched searched = new Searched(last instanceof Bundle bundle ? bundle : null, null);
    Map<ScanKey, Found> found = new LinkedHashMap<>();
    for (int i = 0; i < keys.size(); i++) {
      ScanKey key = keys.get(i);
      int status = Transaction.line(response, i).status();
      Resource resource = response.getEntry().get(i).getResource();
      Found read =
          status == 200 && resource instanceof Observation there
              ? new Found.There(there)
              : absent(status);
      found.put(key, searched.or(key, read == null ? read(key) : read));
    }
    return found;
  }

  private static Map<ScanKey, Found> all(List<ScanKey> keys, Answer answer) {
    Map<ScanKey, Found> found = new LinkedHashMap<>();
    keys.forEach(key -> found.put(key, new Found.NotRead(answer)));
    return found;
  }

  private static void get(Bundle batch, String url) {
    batch.addEntry().getRequest().setMethod(HTTPVerb.GET).setUrl(url);
  }

  private Found read(ScanKey key) {
    Answer answer = http.get(address(key));
    if (!(answer instanceof Answer.Answered answered)) {
      return new Found.NotRead(answer);
    }
    if (answered.status() == 200) {
      Observation there = FhirJson.parseOrNull(Observation.class, answered.body());
      return there == null ? new Found.NotRead(NOT_FHIR) : new Found.There(there);
    }
    Found absent = absent(answered.status());
    return absent == null ? new Found.NotRead(answer) : absent;
  }

  private Searched search(List<ScanKey> keys) {
    Answer answer = http.get(query(keys));
    if (answer instanceof Answer.Answered answered && answered.status() == 200) {
      Bundle bundle = FhirJson.parseOrNull(Bundle.class, answered.body());
      return new Searched(bundle, bundle == null ? NOT_FHIR : null);
    }
    return new Searched(null, answer);
  }

  /**
   * What a search gave.
   *
   * @param bundle null where it gave nothing that is one
   * @param failed the answer then; null where it is not known, or does not matter
   */
  private record Searched(@Nullable Bundle bundle, @Nullable Answer failed) {
    Found of(ScanKey key) {
      if (bundle == null) {
        return failed != null && passes(failed) ? new Found.NotRead(failed) : new Found.Nothing();
      }
      List<Observation> found = new ArrayList<>();
      for (BundleEntryComponent each : bundle.getEntry()) {
        if (each.getResource() instanceof Observation observation
            && observation.getIdentifier().stream()
                .anyMatch(i -> key.hash().equals(i.getValue()))) {
          found.add(observation);
        }
      }
      return switch (found.size()) {
        case 0 -> new Found.Nothing();
        case 1 -> new Found.There(found.get(0));
        default -> new Found.Several(found.size());
      };
    }

    /** What is read under an id of ours counts first: a search may lag behind. */
    Found or(ScanKey key, Found read) {
      Found searched = of(key);
      boolean more = searched instanceof Found.Several || read instanceof Found.Nothing;
      return more ? searched : read;
    }

    /**
     * A server that cannot search so will create conditionally, or not at all, and says so then.
     */
    private static boolean passes(Answer answer) {
      return !(answer instanceof Answer.Answered answered)
          || AnswerClass.of(answered.status()) == AnswerClass.LATER
          || AnswerClass.of(answered.status()) == AnswerClass.AUTHENTICATION;
    }
  }

  private String address(ScanKey key) {
    return "Observation/" + resources.observationId(key);
  }

  private String query(List<ScanKey> keys) {
    return keys.stream()
        .map(key -> resources.resultToken(key).query("identifier"))
        .map(each -> each.substring(each.indexOf('=') + 1))
        .collect(Collectors.joining(",", "Observation?identifier=", "&_count=" + 2 * MOST));
  }

  private static @Nullable Found absent(int status) {
    return switch (status) {
      case 404 -> new Found.Nothing();
      case 410 -> new Found.Deleted();
      default -> null;
    };
  }
}
