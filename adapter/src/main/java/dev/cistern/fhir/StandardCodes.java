// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import dev.cistern.scan.Derived;
import java.util.List;
import java.util.Map;
import java.util.TreeMap;
import java.util.stream.Collectors;
import org.hl7.fhir.r4.model.CodeableConcept;
import org.hl7.fhir.r4.model.Coding;
import org.hl7.fhir.r4.model.Observation;

/** Which codes of code systems that are not ours a result is written with. */
public final class StandardCodes {
  private StandardCodes() {}

  /**
   * By what each says: {@code code}, {@code bodySite}, {@code method}, the name of a component or
   * of a derived value; several with commas between.
   *
   * @param kinds what is derived from the result and written beside it
   */
  public static Map<String, String> of(
      ResourceBuilder builder, Release release, List<Derived> kinds) {
    Map<String, String> codes = new TreeMap<>();
    Observation result = builder.observation(release);
    put(codes, "code", result.getCode());
    put(codes, "bodySite", result.getBodySite());
    put(codes, "method", result.getMethod());
    result
        .getComponent()
        .forEach(
            component -> {
              put(codes, name(component.getCode()), component.getCode());
              if (component.hasValueCodeableConcept()) {
                put(
                    codes,
                    name(component.getCode()) + " value",
                    component.getValueCodeableConcept());
              }
            });
    kinds.stream()
        .filter(kind -> kind.isDue(release.scan()))
        .forEach(kind -> put(codes, kind.code(), builder.derived(kind, release).getCode()));
    return codes;
  }

  private static String name(CodeableConcept concept) {
    return concept.getCoding().stream()
        .filter(StandardCodes::isOurs)
        .map(Coding::getCode)
        .findFirst()
        .orElse("component");
  }

  private static void put(Map<String, String> codes, String name, CodeableConcept concept) {
    String standard =
        concept.getCoding().stream()
            .filter(coding -> !isOurs(coding))
            .map(coding -> coding.getSystem() + "|" + coding.getCode())
            .collect(Collectors.joining(", "));
    if (!standard.isEmpty()) {
      codes.merge(name, standard, (a, b) -> a + ", " + b);
    }
  }

  private static boolean isOurs(Coding coding) {
    return coding.getSystem() != null && coding.getSystem().startsWith(CodeBook.LOCAL);
  }
}
