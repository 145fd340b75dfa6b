// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import java.util.List;
import java.util.Optional;
import java.util.Set;
import java.util.regex.Matcher;
import java.util.regex.Pattern;
import org.jspecify.annotations.Nullable;

/**
 * A place in an HL7 v2 message: {@code SEG-field(repetition).component.subcomponent}, with a
 * condition on the segment or on the repetition where several exist: {@code PID-3[5=MR].1}, {@code
 * OBX[3.1=9187-6]-5}.
 *
 * @param of which of the message's segments of that name; null for the nearest
 * @param which which repetition; null for any
 * @param repetition from 1; 0 where not said
 * @param component from 1; 0 where not said
 * @param subcomponent from 1
 */
record Hl7Path(
    String segment,
    @Nullable Condition of,
    int field,
    @Nullable Condition which,
    int repetition,
    int component,
    int subcomponent) {

  /** What a segment or a repetition must hold. In a repetition there is no field. */
  record Condition(int field, int component, int subcomponent, String text) {}

  /** Fields of PID that are identifiers: external, internal, alternate, account. */
  private static final Set<Integer> IDENTIFIERS = Set.of(2, 3, 4, 18);

  private static final Pattern FORM =
      Pattern.compile(
          "([A-Z][A-Z0-9]{2})(?:\\[([0-9.]+)=([^\\]]+)\\])?-([0-9]{1,3})"
              + "(?:\\[([0-9.]+)=([^\\]]+)\\])?(?:\\(([0-9]{1,3})\\))?"
              + "(?:[.-]([0-9]{1,3}))?(?:[.-]([0-9]{1,3}))?");

  /**
   * @throws IllegalArgumentException with a sentence, where the text is no such path
   */
  static Hl7Path parse(String text) {
    Matcher m = FORM.matcher(text);
    if (!m.matches() || number(m.group(4), 0) == 0) {
      throw new IllegalArgumentException(
          "\"" + text + "\" is not an HL7 v2 path such as PID-3.1 or OBX-5");
    }
    return new Hl7Path(
        m.group(1),
        condition(m.group(2), m.group(3), true),
        number(m.group(4), 0),
        condition(m.group(5), m.group(6), false),
        number(m.group(7), 0),
        number(m.group(8), 0),
        number(m.group(9), 1));
  }

  private static @Nullable Condition condition(
      @Nullable String path, @Nullable String text, boolean ofSegment) {
    if (path == null || text == null) {
      return null;
    }
    String[] steps = path.split("\\.", -1);
    int at = ofSegment ? 1 : 0;
    if (steps.length < 1 || steps.length > at + 2 || path.endsWith(".")) {
      throw new IllegalArgumentException(
          "\"[" + path + "=" + text + "]\" is not a condition such as [3.1=9187-6] or [5=MR]");
    }
    return new Condition(
        ofSegment ? number(steps[0], 0) : 0,
        steps.length > at ? number(steps[at], 1) : 1,
        steps.length > at + 1 ? number(steps[at + 1], 1) : 1,
        text);
  }

  private static int number(@Nullable String digits, int otherwise) {
    return digits == null || digits.isEmpty() ? otherwise : Integer.parseInt(digits);
  }

  /** The same place without a condition on the segment, for messages to people. */
  String inWords() {
    return segment + "-" + field + (component > 0 ? "." + component : "");
  }

  /**
   * Where the check digit and its scheme stand, if this is the number of an identifier in PID (data
   * type CX).
   */
  Optional<List<String>> besideNumber() {
    boolean isNumber = component <= 1 && subcomponent == 1;
    if (!isNumber || !segment.equals("PID") || !IDENTIFIERS.contains(field)) {
      return Optional.empty();
    }
    String place = segment + in(of, true) + "-" + field + in(which, false);
    String all = place + (repetition == 0 ? "" : "(" + repetition + ")");
    return Optional.of(List.of(all + ".2", all + ".3"));
  }

  private static String in(@Nullable Condition condition, boolean ofSegment) {
    return condition == null
        ? ""
        : "["
            + (ofSegment ? condition.field() + "." : "")
            + condition.component()
            + "."
            + condition.subcomponent()
            + "="
            + condition.text()
            + "]";
  }

  boolean is(String name, int number) {
    return segment.equals(name) && field == number && component == 0;
  }
}
