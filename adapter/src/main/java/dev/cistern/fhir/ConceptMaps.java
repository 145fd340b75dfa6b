// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import dev.cistern.scan.CisternException;
import dev.cistern.scan.Field;
import java.net.URLEncoder;
import java.nio.charset.StandardCharsets;
import java.util.ArrayList;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import java.util.UUID;
import java.util.regex.Pattern;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.ConceptMap;
import org.hl7.fhir.r4.model.ConceptMap.ConceptMapGroupComponent;
import org.hl7.fhir.r4.model.Enumerations.ConceptMapEquivalence;
import org.hl7.fhir.r4.model.Enumerations.PublicationStatus;
import org.jspecify.annotations.Nullable;

/**
 * Code tables as FHIR R4 ConceptMaps in a Bundle of type collection, one for each table.
 *
 * <p>The source is the table's own local codes; a blank is the null flavour NI. The target is the
 * code system of the canonical words; {@code unknown} is the data-absent-reason of that name where
 * our code system has no such word. A code that is known and says nothing is {@code unmatched}.
 */
public final class ConceptMaps {
  static final String NULL_FLAVOUR = "http://terminology.hl7.org/CodeSystem/v3-NullFlavor";
  static final String BLANK = "NI";
  static final String ABSENT = "http://terminology.hl7.org/CodeSystem/data-absent-reason";

  /** A FHIR code has no blanks around it and only single ones inside (R4, 2.24.0.1, code). */
  private static final Pattern CODE = Pattern.compile("[^\\s]+(\\s[^\\s]+)*");

  private static final Map<Field, String> STANDARD =
      Map.of(
          Field.SEX, "http://hl7.org/fhir/administrative-gender",
          Field.STATUS, "http://hl7.org/fhir/observation-status",
          Field.ABSENT_REASON, ABSENT);

  private static final Map<Field, WordSet> OURS =
      Map.of(
          Field.PURPOSE, WordSet.PURPOSE,
          Field.EXAM_SETTING, WordSet.EXAM_SETTING,
          Field.POSITION, WordSet.POSITION,
          Field.AIM, WordSet.AIM,
          Field.CONFOUNDERS, WordSet.CONFOUNDER);

  private ConceptMaps() {}

  /**
   * The tables as one Bundle, indented JSON.
   *
   * @throws CisternException where a code or word is not one that FHIR can carry
   */
  public static String write(List<LocalCodes> tables) {
    Bundle bundle = new Bundle().setType(Bundle.BundleType.COLLECTION);
    for (LocalCodes table : tables) {
      // A name inside the bundle; the url is the map's own, and no server's address of it.
      UUID name = UUID.nameUUIDFromBytes(url(table).getBytes(StandardCharsets.UTF_8));
      bundle.addEntry().setFullUrl("urn:uuid:" + name).setResource(map(table));
    }
    return FhirJson.encodePretty(bundle);
  }

  static String url(LocalCodes table) {
    return "urn:cistern:conceptmap:" + table.mapping() + ":" + encoded(table.table());
  }

  static String source(LocalCodes table) {
    return "urn:cistern:mapping:" + table.mapping() + ":" + encoded(table.table());
  }

  /** The code system of a word; the empty word stands in that of the field's words. */
  static String target(@Nullable Field field, String word) {
    if (field == null) {
      return "urn:cistern:code:word";
    }
    WordSet ours = OURS.get(field);
    if (ours != null) {
      return word.equals(WordSet.UNKNOWN) ? ABSENT : ours.system();
    }
    String standard = STANDARD.get(field);
    return standard == null ? "urn:cistern:field:" + field.key() : standard;
  }

  private static ConceptMap map(LocalCodes table) {
    ConceptMap map = new ConceptMap();
    map.setUrl(url(table));
    map.setName("LocalCodes");
    map.setTitle("Table " + table.table() + " of the mapping " + table.mapping());
    map.setStatus(PublicationStatus.ACTIVE);
    Map<List<String>, ConceptMapGroupComponent> groups = new LinkedHashMap<>();
    table
        .words()
        .forEach(
            (code, word) -> {
              List<String> systems =
                  List.of(
                      code.isEmpty() ? NULL_FLAVOUR : source(table), target(table.field(), word));
              var element =
                  groups
                      .computeIfAbsent(
                          systems,
                          pair -> map.addGroup().setSource(pair.get(0)).setTarget(pair.get(1)))
                      .addElement()
                      .setCode(code.isEmpty() ? BLANK : carried(table, code));
              if (word.isEmpty()) {
                element.addTarget().setEquivalence(ConceptMapEquivalence.UNMATCHED);
              } else {
                element
                    .addTarget()
                    .setCode(carried(table, word))
                    .setEquivalence(ConceptMapEquivalence.EQUAL);
              }
            });
    return map;
  }

  private static String carried(LocalCodes table, String code) {
    if (!CODE.matcher(code).matches()) {
      throw new CisternException(
          "The table "
              + table.table()
              + " has \""
              + code
              + "\", which has blanks that no FHIR code can have; it cannot be written as a"
              + " ConceptMap.");
    }
    return code;
  }

  private static String encoded(String name) {
    return URLEncoder.encode(name, StandardCharsets.UTF_8).replace("+", "%20");
  }

  /**
   * Reads the ConceptMaps of tables that are known.
   *
   * @param file what sentences call the text
   * @param json a ConceptMap, or a Bundle that holds some
   * @param known the tables of the mapping as they are
   * @return the tables that the text holds, each with the words that it gives
   * @throws CisternException where the text says something that a code table cannot
   */
  public static List<LocalCodes> read(String file, String json, List<LocalCodes> known) {
    List<LocalCodes> read = new ArrayList<>();
    for (ConceptMap map : ConceptMapReader.maps(file, json)) {
      LocalCodes table =
          known.stream()
              .filter(one -> url(one).equals(map.getUrl()))
              .findFirst()
              .orElseThrow(
                  () ->
                      new CisternException(
                          file
                              + " holds the ConceptMap "
                              + map.getUrl()
                              + ", which is of no table of this mapping; its url is one of: "
                              + String.join(", ", known.stream().map(ConceptMaps::url).toList())
                              + "."));
      if (read.stream().anyMatch(one -> one.table().equals(table.table()))) {
        throw new CisternException(
            file + " holds two ConceptMaps of the table " + table.table() + ".");
      }
      read.add(new ConceptMapReader(file, table).words(map));
    }
    return read;
  }
}
