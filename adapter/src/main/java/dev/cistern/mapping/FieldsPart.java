// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.scan.Coded;
import dev.cistern.scan.Field;
import dev.cistern.scan.Purpose;
import dev.cistern.scan.Reading;
import dev.cistern.yaml.Suggestion;
import dev.cistern.yaml.YamlFile;
import java.time.ZoneId;
import java.time.format.DateTimeFormatter;
import java.util.ArrayList;
import java.util.EnumMap;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import java.util.Optional;
import java.util.Set;
import org.jspecify.annotations.Nullable;

/** Reads {@code fields}, {@code defaults} and {@code units} into one rule a field. */
final class FieldsPart {
  static final String NO_ASSERTION =
      "a blank does not assert that the patient voided; only a code that says so, or a constant,"
          + " may become post-void";

  private static final Set<String> MEGALITRES = Set.of("ML", "Ml");
  private static final Set<Field.Kind> WITH_UNIT =
      Set.of(Field.Kind.VOLUME, Field.Kind.LENGTH, Field.Kind.MASS);

  private final Part part;
  private final Input input;
  private final InputPart inputPart;
  private final CodesPart codes;
  private final @Nullable ZoneId zone;
  private final Map<String, String> units = new LinkedHashMap<>();

  FieldsPart(Part part, Input input, InputPart inputPart, CodesPart codes, @Nullable ZoneId zone) {
    this.part = part;
    this.input = input;
    this.inputPart = inputPart;
    this.codes = codes;
    this.zone = zone;
    for (String spelling : part.keys("/units")) {
      String pointer = YamlFile.child("/units", spelling);
      if (units.put(spelling.strip(), part.text(pointer, "").strip()) != null) {
        part.keyProblem(pointer, "the unit \"" + spelling.strip() + "\" is given twice");
      }
    }
  }

  Map<Field, FieldRule> read() {
    Map<Field, FieldRule> rules = new EnumMap<>(Field.class);
    for (Field field : Field.values()) {
      String pointer = "/fields/" + field.key();
      String fallback = fallback(field);
      if (part.tree(pointer).isObject()) {
        rules.put(field, rule(field, pointer, fallback));
      } else if (fallback != null) {
        rules.put(field, fixed(field, fallback));
      }
    }
    besideNumber(rules.get(Field.PATIENT_ID))
        .ifPresent(rule -> rules.putIfAbsent(Field.PATIENT_ID_CHECK, rule));
    return rules;
  }

  /**
   * In HL7 v2 a patient's number is of data type CX, whose second and third component are its check
   * digit and the scheme.
   */
  private Optional<FieldRule> besideNumber(@Nullable FieldRule number) {
    if (number == null || number.from().size() != 1 || input.format() != Format.HL7V2) {
      return Optional.empty();
    }
    return Hl7Path.parse(number.from().get(0))
        .besideNumber()
        .map(
            from ->
                new FieldRule(
                    Field.PATIENT_ID_CHECK,
                    from,
                    null,
                    null,
                    null,
                    false,
                    Reading.canonicalIn(zone)));
  }

  private FieldRule fixed(Field field, String text) {
    return new FieldRule(field, List.of(), text, null, null, false, Reading.canonicalIn(zone));
  }

  private @Nullable String fallback(Field field) {
    String pointer = "/defaults/" + field.key();
    String text = part.text(pointer);
    if (text == null) {
      return null;
    }
    if (field == Field.PURPOSE && text.strip().equals(Purpose.POST_VOID.code())) {
      part.problem(pointer, NO_ASSERTION);
    }
    checkWords(field, pointer, text);
    return text.strip();
  }

  private FieldRule rule(Field field, String pointer, @Nullable String fallback) {
    String constant = part.text(pointer + "/constant");
    boolean hasFrom = part.tree(pointer).has("from");
    if (constant == null && !hasFrom) {
      part.keyProblem(pointer, field.key() + " needs from, or a constant");
    } else if (constant != null && hasFrom) {
      part.keyProblem(pointer, field.key() + " has both from and a constant; keep one");
    }
    if (constant != null) {
      checkWords(field, pointer + "/constant", constant);
      return fixed(field, constant.strip());
    }
    return new FieldRule(
        field,
        sources(pointer + "/from"),
        fallback,
        codes.usedBy(field, pointer + "/codes"),
        unit(field, pointer),
        part.isTrue(pointer + "/optional", false),
        reading(field, pointer));
  }

  private void checkWords(Field field, String pointer, String text) {
    List<String> known = Coded.wordsOf(field);
    if (known.isEmpty()) {
      return;
    }
    boolean several = field.kind() == Field.Kind.CODES;
    for (String word : several ? text.strip().split("[\\s,;|]+") : new String[] {text.strip()}) {
      if (!known.contains(word)) {
        part.problem(
            pointer,
            "\""
                + word
                + "\" is not a word of "
                + field.key()
                + " ("
                + String.join(", ", known)
                + ")"
                + Suggestion.didYouMean(word, known));
      }
    }
  }

  private List<String> sources(String pointer) {
    List<String> sources = new ArrayList<>();
    for (String at : part.pointers(pointer)) {
      String source = part.text(at, "").strip();
      String problem = problem(source);
      if (problem != null) {
        part.problem(at, problem);
      } else {
        sources.add(source);
      }
    }
    return sources;
  }

  /** What is wrong with a source, in the language of the format; null where nothing is. */
  private @Nullable String problem(String source) {
    if (source.isEmpty()) {
      return "a source must not be empty";
    }
    return switch (input.format()) {
      case DELIMITED -> column(source);
      case JSON -> JsonSources.problem(source);
      case XML -> new XmlSources(input.selection().namespaces()).problem(source);
      case HL7V2 -> hl7(source);
      case FORM -> null;
    };
  }

  private @Nullable String column(String source) {
    boolean number = source.matches("[1-9][0-9]{0,3}");
    if (input.table().header() || number) {
      return input.table().columns() > 0
              && number
              && !input.table().header()
              && Integer.parseInt(source) > input.table().columns()
          ? "there is no column " + source + " among " + input.table().columns()
          : null;
    }
    return "without a header a column is named by its number, from 1";
  }

  private static @Nullable String hl7(String source) {
    try {
      Hl7Path.parse(source);
      return null;
    } catch (IllegalArgumentException e) {
      return e.getMessage();
    }
  }

  private @Nullable UnitRule unit(Field field, String pointer) {
    JsonNode unit = part.tree(pointer + "/unit");
    if (unit.isObject()) {
      List<String> sources = sources(pointer + "/unit/from");
      return sources.isEmpty() ? null : new UnitRule(null, sources.get(0));
    }
    String fixed = part.text(pointer + "/unit");
    if (fixed == null) {
      return null;
    } else if (!WITH_UNIT.contains(field.kind())) {
      part.keyProblem(pointer + "/unit", field.key() + " has no unit");
    } else if (MEGALITRES.contains(fixed.strip()) && !units.containsKey(fixed.strip())) {
      part.problem(pointer + "/unit", "\"" + fixed.strip() + "\" is a megalitre in UCUM; write mL");
    }
    return new UnitRule(fixed.strip(), null);
  }

  private Reading reading(Field field, String pointer) {
    String decimal = part.text(pointer + "/decimal");
    ZoneId own = inputPart.zone(pointer + "/zone");
    String pattern = part.text(pointer + "/pattern");
    return new Reading(
        decimal == null ? inputPart.decimal() : decimal.equals(",") ? ',' : '.',
        own == null ? zone : own,
        pattern,
        pattern == null ? null : formatter(field, pointer + "/pattern", pattern),
        units);
  }

  private @Nullable DateTimeFormatter formatter(Field field, String pointer, String pattern) {
    try {
      return TimePattern.compile(pattern, field);
    } catch (IllegalArgumentException e) {
      part.problem(pointer, String.valueOf(e.getMessage()));
      return null;
    }
  }
}
