// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

import java.util.Arrays;
import java.util.List;
import java.util.Optional;

/** A closed set of canonical words, as mapping tables, JSON and the local CodeSystem write them. */
public interface Coded {
  String code();

  /** The member whose word is exactly {@code code}; empty where the set has none. */
  static <E extends Enum<E> & Coded> Optional<E> of(Class<E> type, String code) {
    return Arrays.stream(type.getEnumConstants()).filter(e -> e.code().equals(code)).findFirst();
  }

  static <E extends Enum<E> & Coded> List<String> words(Class<E> type) {
    return Arrays.stream(type.getEnumConstants()).map(Coded::code).toList();
  }

  /** The set of words a coded field takes; empty for a field that is not coded. */
  static List<String> wordsOf(Field field) {
    return switch (field) {
      case PATIENT_ID_ENTRY -> words(IdEntry.class);
      case SEX -> words(Sex.class);
      case ABSENT_REASON -> words(AbsentReason.class);
      case PURPOSE -> words(Purpose.class);
      case EXAM_SETTING -> words(ExamSetting.class);
      case HYSTERECTOMY, PUBIC_SHADOW, ACCEPTED -> words(Answer.class);
      case POSITION -> words(Position.class);
      case AIM -> words(Aim.class);
      case CONFOUNDERS -> words(Confounder.class);
      case STATUS -> words(Status.class);
      case FLAGS -> words(Flag.class);
      default -> List.of();
    };
  }
}
