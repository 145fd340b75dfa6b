// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import ca.uhn.fhir.parser.DataFormatException;
import dev.cistern.scan.CisternException;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.ConceptMap;
import org.hl7.fhir.r4.model.ConceptMap.ConceptMapGroupComponent;
import org.hl7.fhir.r4.model.ConceptMap.SourceElementComponent;
import org.hl7.fhir.r4.model.ConceptMap.TargetElementComponent;
import org.hl7.fhir.r4.model.Resource;

/** Reads one ConceptMap back into a code table; what a table cannot say is refused, not dropped. */
final class ConceptMapReader {
  private final String file;
  private final LocalCodes table;
  private final Map<String, String> words = new LinkedHashMap<>();

  ConceptMapReader(String file, LocalCodes table) {
    this.file = file;
    this.table = table;
  }

  static List<ConceptMap> maps(String file, String json) {
    Resource resource;
    try {
      resource = FhirJson.parse(json);
    } catch (DataFormatException | ClassCastException e) {
      throw new CisternException(file + " holds no FHIR R4 resource in JSON.", e);
    }
    List<Resource> held =
        resource instanceof Bundle bundle
            ? bundle.getEntry().stream().map(Bundle.BundleEntryComponent::getResource).toList()
            : List.of(resource);
    List<ConceptMap> maps =
        held.stream().filter(ConceptMap.class::isInstance).map(ConceptMap.class::cast).toList();
    if (maps.isEmpty()) {
      throw new CisternException(file + " holds no ConceptMap.");
    }
    return maps;
  }

  LocalCodes words(ConceptMap map) {
    map.getGroup().forEach(this::group);
    if (words.isEmpty()) {
      throw refused("has no codes; a table that is not needed is taken out by hand");
    }
    return new LocalCodes(table.mapping(), table.table(), table.field(), words);
  }

  private void group(ConceptMapGroupComponent group) {
    if (group.hasUnmapped()) {
      throw refused("has a rule for unmapped codes; a code that a table lacks rejects the entry");
    }
    boolean blank = ConceptMaps.NULL_FLAVOUR.equals(group.getSource());
    if (!blank && !ConceptMaps.source(table).equals(group.getSource())) {
      throw refused(
          "maps from "
              + group.getSource()
              + "; its codes are those of "
              + ConceptMaps.source(table));
    }
    for (SourceElementComponent element : group.getElement()) {
      if (!element.hasCode()) {
        throw refused("has an element without a code");
      }
      if (blank && !element.getCode().equals(ConceptMaps.BLANK)) {
        throw refused(
            "maps the null flavour " + element.getCode() + "; only NI stands for a blank");
      }
      String word = word(element, group.getTarget());
      if (words.putIfAbsent(blank ? "" : element.getCode(), word) != null) {
        throw refused("maps the code " + element.getCode() + " twice");
      }
    }
  }

  private String word(SourceElementComponent element, String system) {
    if (element.getTarget().size() != 1) {
      throw refused("does not give the code " + element.getCode() + " exactly one target");
    }
    TargetElementComponent target = element.getTargetFirstRep();
    if (target.hasDependsOn() || target.hasProduct()) {
      throw refused("makes the code " + element.getCode() + " depend on something else");
    }
    String equivalence =
        target.getEquivalence() == null ? "nothing" : target.getEquivalence().toCode();
    return switch (equivalence) {
      case "unmatched" -> "";
      case "equal", "equivalent" -> {
        if (!target.hasCode()) {
          throw refused("gives the code " + element.getCode() + " a target without a code");
        }
        if (!ConceptMaps.target(table.field(), target.getCode()).equals(system)) {
          throw refused(
              "takes the word \""
                  + target.getCode()
                  + "\" from "
                  + system
                  + "; it belongs to "
                  + ConceptMaps.target(table.field(), target.getCode()));
        }
        yield target.getCode();
      }
      default ->
          throw refused(
              "says that the code "
                  + element.getCode()
                  + " is "
                  + equivalence
                  + "; only equal, equivalent and unmatched are taken");
    };
  }

  private CisternException refused(String what) {
    return new CisternException(
        "The ConceptMap of the table " + table.table() + " in " + file + " " + what + ".");
  }
}
