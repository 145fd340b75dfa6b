// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import dev.cistern.scan.Aim;
import dev.cistern.scan.Coded;
import dev.cistern.scan.Confounder;
import dev.cistern.scan.ExamSetting;
import dev.cistern.scan.Position;
import dev.cistern.scan.Purpose;
import java.util.List;
import java.util.Locale;
import org.hl7.fhir.r4.model.Coding;

/**
 * The sets of canonical words that are written as codes, each a CodeSystem of our own. "Unknown" is
 * never written as a code: its component says that the value is absent.
 */
public enum WordSet {
  PURPOSE("purpose", Coded.words(Purpose.class)),
  EXAM_SETTING("exam-setting", Coded.words(ExamSetting.class)),
  POSITION("position", Coded.words(Position.class)),
  AIM("aim", Coded.words(Aim.class)),
  CONFOUNDER("confounder", Coded.words(Confounder.class));

  static final String UNKNOWN = "unknown";

  private final String key;

  @SuppressWarnings("ImmutableEnumChecker") // unmodifiable
  private final List<String> words;

  WordSet(String key, List<String> words) {
    this.key = key;
    this.words = words.stream().filter(word -> !word.equals(UNKNOWN)).toList();
  }

  public String key() {
    return key;
  }

  public List<String> words() {
    return words;
  }

  /** The URL of the CodeSystem; it belongs to the product and is the same everywhere. */
  public String system() {
    return CodeBook.LOCAL + ":" + key;
  }

  /** What {@code codes.csv} calls a word of this set: {@code position.supine}. */
  String meaning(Coded word) {
    return key + "." + word.code();
  }

  Coding coding(Coded word) {
    return new Coding(system(), word.code(), display(word.code()));
  }

  /** The word as people write it: {@code Uterus absent}. */
  static String display(String word) {
    return word.substring(0, 1).toUpperCase(Locale.ROOT) + word.substring(1).replace('-', ' ');
  }
}
