// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bedside;

import dev.cistern.bedside.Question.Choice;
import dev.cistern.bedside.Question.Control;
import dev.cistern.mapping.FieldRule;
import dev.cistern.mapping.Mapping;
import dev.cistern.mapping.UnitRule;
import dev.cistern.scan.Coded;
import dev.cistern.scan.Field;
import java.util.ArrayList;
import java.util.EnumMap;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import java.util.Optional;
import java.util.Set;
import org.jspecify.annotations.Nullable;

/** Turns a mapping into the questions of its form: what the mapping cannot take is not asked. */
public final class Questions {
  private static final Set<Field> REQUIRED =
      Set.of(Field.PATIENT_ID, Field.MEASURED_AT, Field.PURPOSE);
  private static final Set<Field> BARCODES =
      Set.of(Field.PATIENT_ID, Field.ENCOUNTER_ID, Field.DEVICE_SERIAL, Field.OPERATOR_ID);
  private static final String UNKNOWN = "unknown";

  private final Mapping mapping;

  private Questions(Mapping mapping) {
    this.mapping = mapping;
  }

  /** The questions, by part; a part without any is left out. */
  public static Map<Section, List<Question>> of(Mapping mapping) {
    Questions questions = new Questions(mapping);
    Map<Section, List<Question>> parts = new EnumMap<>(Section.class);
    for (Section section : Section.values()) {
      List<Question> asked =
          section.fields().stream().flatMap(f -> questions.ask(f).stream()).toList();
      if (!asked.isEmpty()) {
        parts.put(section, asked);
      }
    }
    return parts;
  }

  /** How the patient's number came in: asked of nobody, the page tells what it knows for sure. */
  static Optional<Question> howEntered(Mapping mapping) {
    List<Question> asked = new Questions(mapping).ask(Field.PATIENT_ID_ENTRY);
    return asked.size() == 1 ? Optional.of(asked.get(0)) : Optional.empty();
  }

  /** None where the mapping does not take the field; several where it joins it from several. */
  private List<Question> ask(Field field) {
    FieldRule rule = mapping.fields().get(field);
    if (rule == null || rule.from().isEmpty()) {
      return List.of();
    }
    List<Question> asked = new ArrayList<>();
    for (int part = 0; part < rule.from().size(); part++) {
      asked.add(question(rule, part));
    }
    UnitRule unit = rule.unit();
    if (unit != null && unit.from() != null) {
      asked.add(unitQuestion(field, unit.from()));
    }
    return asked;
  }

  private Question question(FieldRule rule, int part) {
    Field field = rule.field();
    int parts = rule.from().size();
    Control control = parts > 1 ? Control.TEXT : control(rule);
    List<Choice> choices =
        control == Control.ONE || control == Control.SEVERAL ? choices(rule, control) : List.of();
    String label = Wording.label(field);
    return new Question(
        field,
        rule.from().get(part),
        control,
        parts > 1 ? label + " (part " + (part + 1) + " of " + parts + ")" : label,
        hint(rule, control),
        control == Control.NUMBER ? unit(rule) : null,
        required(field),
        choices);
  }

  private static Question unitQuestion(Field field, String name) {
    return new Question(
        field,
        name,
        Control.TEXT,
        "Unit of the " + field.label(),
        "As the scanner shows it, such as mL.",
        null,
        false,
        List.of());
  }

  private boolean required(Field field) {
    return REQUIRED.contains(field)
        || (field == Field.VOLUME && !mapping.fields().containsKey(Field.ABSENT_REASON));
  }

  private Control control(FieldRule rule) {
    Field field = rule.field();
    boolean standard = rule.reading().pattern() == null;
    return switch (field.kind()) {
      case TEXT -> rule.codes() != null ? Control.ONE : text(field);
      case DATE -> standard ? Control.DATE : Control.TEXT;
      case TIME -> standard && mapping.zone() != null ? Control.TIME : Control.TEXT;
      case CODE -> Control.ONE;
      case CODES -> Control.SEVERAL;
      case VOLUME, MINUTES, LENGTH, MASS, COUNT -> Control.NUMBER;
    };
  }

  private static Control text(Field field) {
    if (field == Field.NOTE) {
      return Control.LINES;
    }
    return BARCODES.contains(field) ? Control.BARCODE : Control.TEXT;
  }

  private @Nullable String hint(FieldRule rule, Control control) {
    String pattern = rule.reading().pattern();
    if (pattern != null) {
      return "As " + pattern + ".";
    } else if (control == Control.TIME) {
      return "Time in " + mapping.zone() + ".";
    } else if (rule.field().kind() == Field.Kind.TIME) {
      return "With its offset from UTC, such as 2026-03-14T09:05+01:00.";
    } else if (control == Control.NUMBER && unit(rule) == null && rule.unit() == null) {
      return Wording.hintWithUnit(rule.field());
    }
    return Wording.hint(rule.field());
  }

  private static @Nullable String unit(FieldRule rule) {
    if (rule.field().kind() == Field.Kind.MINUTES) {
      return "min";
    }
    UnitRule unit = rule.unit();
    return unit == null ? null : unit.fixed();
  }

  /** The first local code of each word, in the order of our words; then what is not stated. */
  private static List<Choice> choices(FieldRule rule, Control control) {
    Map<String, String> codeOf = new LinkedHashMap<>();
    if (rule.codes() == null) {
      Coded.wordsOf(rule.field()).forEach(word -> codeOf.put(word, word));
    } else {
      rule.codes()
          .words()
          .forEach(
              (code, word) -> {
                if (!code.isEmpty() && !word.isEmpty()) {
                  codeOf.putIfAbsent(word, code);
                }
              });
    }
    List<String> words = new ArrayList<>(Coded.wordsOf(rule.field()));
    words.retainAll(codeOf.keySet());
    codeOf.keySet().stream().filter(word -> !words.contains(word)).forEach(words::add);
    List<Choice> choices = new ArrayList<>();
    for (String word : words) {
      choices.add(
          new Choice(
              codeOf.getOrDefault(word, word),
              word,
              Wording.word(rule.field(), word),
              Wording.wordHint(rule.field(), word),
              false));
    }
    boolean canBeUndone =
        control == Control.SEVERAL || words.contains(UNKNOWN) || rule.field() == Field.PURPOSE;
    if (!canBeUndone) {
      choices.add(new Choice("", "", "Not stated", null, true));
    }
    if (rule.field() == Field.PURPOSE && !words.contains("unspecified")) {
      choices.add(new Choice("", "", Wording.word(Field.PURPOSE, "unspecified"), null, false));
    }
    return choices;
  }
}
