// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.fhir.FhirJson;
import dev.cistern.fhir.FhirSettings;
import dev.cistern.fhir.Token;
import dev.cistern.wire.Answer;
import dev.cistern.wire.FhirHttp;
import java.net.URI;
import java.util.HashSet;
import java.util.Set;
import java.util.function.BiConsumer;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Bundle.BundleEntryComponent;
import org.hl7.fhir.r4.model.Identifier;
import org.hl7.fhir.r4.model.Observation;
import org.jspecify.annotations.Nullable;

/** Goes through every Observation at the server that carries an identifier of our system. */
public final class Census {
  private static final int PAGE = 200;

  private final FhirHttp http;
  private final URI base;
  private final FhirSettings settings;

  Census(FhirHttp http, URI base, FhirSettings settings) {
    this.http = http;
    this.base = base;
    this.settings = settings;
  }

  /**
   * @param each is given {@code Observation/17} and the value of our identifier
   * @return the answer that ended it before its end; null where all were gone through
   */
  public @Nullable Answer take(BiConsumer<String, String> each) {
    String system = settings.resultSystem();
    String query = new Token(system, "").query("identifier");
    String page = "Observation?" + query + "&_count=" + PAGE;
    Set<String> gone = new HashSet<>();
    while (page != null && gone.add(page)) {
      Answer answer = http.get(page);
      Bundle bundle =
          answer instanceof Answer.Answered answered && answered.status() == 200
              ? FhirJson.parseOrNull(Bundle.class, answered.body())
              : null;
      if (bundle == null) {
        return answer;
      }
      for (BundleEntryComponent entry : bundle.getEntry()) {
        if (entry.getResource() instanceof Observation observation) {
          observation.getIdentifier().stream()
              .filter(identifier -> system.equals(identifier.getSystem()))
              .map(Identifier::getValue)
              .findFirst()
              .ifPresent(value -> each.accept(AlreadyThere.at(observation).location(), value));
        }
      }
      Bundle.BundleLinkComponent next = bundle.getLink("next");
      page = next == null ? null : below(next.getUrl());
    }
    return null;
  }

  /** A server behind a proxy may not know by what address we know it. */
  private String below(String url) {
    URI link = URI.create(url);
    String path = link.getRawPath() == null ? "" : link.getRawPath();
    String own = base.getRawPath() == null ? "" : base.getRawPath();
    String rest = path.startsWith(own) ? path.substring(own.length()) : path;
    return rest.replaceFirst("^/", "") + "?" + link.getRawQuery();
  }
}
