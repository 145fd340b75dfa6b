// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bedside;

import dev.cistern.scan.Field;
import java.util.List;
import java.util.Locale;
import org.jspecify.annotations.Nullable;

/**
 * One question of the form.
 *
 * @param name the form field that the mapping reads
 * @param label the question itself
 * @param hint what helps to answer it; null for nothing
 * @param unit what stands behind a number; null for nothing
 * @param required whether a result is no result without it
 * @param choices the answers to choose from; none where it is typed
 */
public record Question(
    Field field,
    String name,
    Control control,
    String label,
    @Nullable String hint,
    @Nullable String unit,
    boolean required,
    List<Choice> choices) {

  /** What it is answered with. */
  public enum Control {
    /** A line of text. */
    TEXT,
    /** A line that is often read from a bar code. */
    BARCODE,
    DATE,
    /** A date and time on the ward's clock. */
    TIME,
    NUMBER,
    /** One of the choices. */
    ONE,
    /** Any of the choices. */
    SEVERAL,
    /** Some lines of text. */
    LINES
  }

  /**
   * One answer to choose.
   *
   * @param value what is posted
   * @param word our word for it; empty for "not stated"
   * @param preset whether it is chosen from the start: only "not stated" ever is
   */
  public record Choice(
      String value, String word, String label, @Nullable String hint, boolean preset) {}

  public Question {
    choices = List.copyOf(choices);
  }

  public String id() {
    return "q-" + name.replaceAll("[^A-Za-z0-9]+", "-");
  }

  /** What is posted for one of our words; null where the mapping has no code for it. */
  public @Nullable String posted(String word) {
    return choices.stream()
        .filter(choice -> choice.word().equals(word))
        .map(Choice::value)
        .findFirst()
        .orElse(null);
  }

  /** Asked only of a patient who is said to have passed urine. */
  public boolean afterVoid() {
    return field == Field.VOIDED_AT
        || field == Field.MINUTES_SINCE_VOID
        || field == Field.VOIDED_VOLUME;
  }

  public boolean isGroup() {
    return control == Control.ONE || control == Control.SEVERAL;
  }

  public boolean isPatientNumber() {
    return field == Field.PATIENT_ID;
  }

  /** The one that nobody may pass over. */
  public boolean isPurpose() {
    return field == Field.PURPOSE;
  }

  /** Short enough to stand beside another one on a phone. */
  public boolean isShort() {
    return control == Control.NUMBER && field != Field.VOLUME
        || (control == Control.TEXT || control == Control.BARCODE)
            && field != Field.PATIENT_ID
            && field != Field.PATIENT_NAME;
  }

  /** What the script knows the control by. */
  public String controlName() {
    return control.name().toLowerCase(Locale.ROOT);
  }

  public @Nullable String inputMode() {
    return control == Control.NUMBER ? "decimal" : null;
  }

  public String inputType() {
    return switch (control) {
      case DATE -> "date";
      case TIME -> "datetime-local";
      default -> "text";
    };
  }
}
