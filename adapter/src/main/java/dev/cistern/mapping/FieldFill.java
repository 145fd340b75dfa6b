// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static dev.cistern.mapping.DecodeReason.AMBIGUOUS_SOURCE;
import static dev.cistern.mapping.DecodeReason.CODE_UNMAPPED;

import dev.cistern.scan.Field;
import dev.cistern.scan.FieldValue;
import dev.cistern.scan.Fields;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Place;
import dev.cistern.scan.Quote;
import dev.cistern.scan.RawEntry;
import java.util.ArrayList;
import java.util.Collection;
import java.util.EnumMap;
import java.util.LinkedHashSet;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import java.util.StringTokenizer;
import java.util.stream.Stream;
import org.jspecify.annotations.Nullable;

/** Fills the canonical fields of one entry from one record, as the mapping's rules say. */
final class FieldFill {
  private static final String BETWEEN_CODES = " \t\r\n,;|";

  private final Row row;
  private final Map<Field, FieldValue> values = new EnumMap<>(Field.class);
  private final List<Finding> findings;

  private FieldFill(Row row, List<Finding> found) {
    this.row = row;
    this.findings = new ArrayList<>(found);
  }

  /**
   * @param found what is already known to be wrong with the record
   */
  static RawEntry entry(Place place, Collection<FieldRule> rules, Row row, List<Finding> found) {
    FieldFill fill = new FieldFill(row, found);
    rules.forEach(fill::fill);
    return new RawEntry(place, new Fields(fill.values), fill.findings);
  }

  private void fill(FieldRule rule) {
    if (rule.from().isEmpty()) {
      putFixed(rule, "constant in the mapping");
      return;
    }
    List<String> parts = new ArrayList<>();
    int reported = findings.size();
    boolean several = rule.codes() != null && rule.from().size() == 1;
    for (String source : rule.from()) {
      parts.addAll(look(rule.field(), source, several));
    }
    if (parts.isEmpty()) {
      if (findings.size() == reported) {
        putBlank(rule);
      }
      return;
    }
    List<String> texts = parts.stream().map(String::strip).toList();
    String text = several ? translated(rule, texts) : translated(rule, List.of(join(texts)));
    if (!text.isEmpty()) {
      String origin = String.join(" and ", rule.from().stream().map(row::origin).toList());
      values.put(
          rule.field(), new FieldValue(text, join(parts), unit(rule), rule.reading(), origin));
    }
  }

  private static String join(List<String> texts) {
    return String.join(" ", texts);
  }

  /**
   * The texts at a source that are not blank.
   *
   * @param several whether a field that takes one can choose among their meanings
   */
  private List<String> look(Field field, String source, boolean several) {
    Found found = row.find(source);
    Finding finding = found.finding(field);
    if (finding != null) {
      findings.add(finding);
    }
    List<String> texts = found.texts().stream().filter(t -> !t.isBlank()).toList();
    if (texts.size() < 2 || several || field.kind() == Field.Kind.CODES) {
      return texts;
    } else if (found.firstCounts()) {
      return texts.subList(0, 1);
    }
    ambiguous(field, texts.size() + " values at " + row.origin(source));
    return List.of();
  }

  private void ambiguous(Field field, String what) {
    findings.add(
        AMBIGUOUS_SOURCE.found(
            field,
            "There are " + what + ", and it is not clear which is the " + field.label() + "."));
  }

  private void putBlank(FieldRule rule) {
    String word = rule.codes() == null ? null : rule.codes().word("");
    if (word == null) {
      putFixed(rule, "default in the mapping");
    } else if (!word.isEmpty()) {
      String origin = "blank in " + row.origin(rule.from().get(0));
      values.put(rule.field(), new FieldValue(word, "", null, rule.reading(), origin));
    }
  }

  private void putFixed(FieldRule rule, String origin) {
    String fixed = rule.fixed();
    if (fixed != null) {
      values.put(rule.field(), new FieldValue(fixed, fixed, unit(rule), rule.reading(), origin));
    }
  }

  private @Nullable String unit(FieldRule rule) {
    UnitRule unit = rule.unit();
    if (unit == null || unit.from() == null) {
      return unit == null ? null : unit.fixed();
    }
    List<String> texts = look(rule.field(), unit.from(), false);
    return texts.isEmpty() ? null : texts.get(0).strip();
  }

  /** The canonical words, or the text itself without a table; empty where nothing is known. */
  private String translated(FieldRule rule, List<String> texts) {
    CodeTable table = rule.codes();
    if (table == null) {
      return join(texts);
    }
    boolean coded = rule.field().kind() == Field.Kind.CODES;
    List<@Nullable String> words = new ArrayList<>();
    for (String text : texts) {
      boolean list = coded && table.word(text) == null;
      StringTokenizer codes = new StringTokenizer(text, list ? BETWEEN_CODES : "");
      while (codes.hasMoreTokens()) {
        words.add(word(rule.field(), table, codes.nextToken()));
      }
    }
    if (words.contains(null)) {
      return "";
    }
    List<String> known = new ArrayList<>(new LinkedHashSet<>(nonNull(words)));
    known.remove("");
    if (known.size() > 1 && !coded) {
      ambiguous(rule.field(), known.size() + " meanings in the code table " + table.name());
      return "";
    }
    return join(known);
  }

  private static List<String> nonNull(List<@Nullable String> words) {
    List<String> all = new ArrayList<>();
    for (String word : words) {
      if (word != null) {
        all.add(word);
      }
    }
    return all;
  }

  private @Nullable String word(Field field, CodeTable table, String local) {
    String word = table.word(local);
    if (word == null) {
      findings.add(
          CODE_UNMAPPED.found(
              field, UnmappedCode.sentence(table.name(), quote().of(local), field)));
    }
    return word;
  }

  /** A column that slipped must not carry the patient into a message. */
  private Quote quote() {
    return new Quote(
        Stream.of(Field.PATIENT_ID, Field.PATIENT_NAME, Field.BIRTH_DATE)
            .map(values::get)
            .filter(Objects::nonNull)
            .flatMap(v -> Stream.of(v.sent(), v.text()))
            .toList());
  }
}
