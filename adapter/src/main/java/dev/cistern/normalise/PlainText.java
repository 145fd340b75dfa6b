// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.normalise;

import static dev.cistern.normalise.NormaliseReason.COUNT_UNREADABLE;
import static dev.cistern.normalise.NormaliseReason.TEXT_UNPRINTABLE;

import dev.cistern.scan.Field;
import dev.cistern.scan.Quote;
import org.jspecify.annotations.Nullable;

/** Reads texts and whole numbers. Identifiers stay texts: leading zeros belong to them. */
final class PlainText {
  private static final int MOST_DIGITS_OF_A_COUNT = 9;

  private PlainText() {}

  /** Null where nothing is left, or where it was refused. */
  static @Nullable String read(Field field, String text, Report report) {
    String stripped = Texts.stripped(text);
    if (stripped.isEmpty()) {
      return null;
    }
    boolean prose = field == Field.NOTE || field == Field.PATIENT_NAME;
    boolean visible =
        stripped.codePoints().allMatch(c -> prose ? isFitForProse(c) : Quote.isPrintable(c));
    if (!visible) {
      report.refuse(TEXT_UNPRINTABLE, field, text, "holds a character that cannot be seen.");
      return null;
    }
    return stripped;
  }

  private static boolean isFitForProse(int c) {
    return c == '\n'
        || c == '\r'
        || c == '\t'
        || (!Character.isISOControl(c) && Character.getType(c) != Character.SURROGATE);
  }

  static @Nullable Integer count(Field field, String text, Report report) {
    String digits = Texts.trimmed(text);
    int count = 0;
    for (int i = 0; i < digits.length(); i++) {
      char c = digits.charAt(i);
      if (c < '0' || c > '9') {
        return refused(field, digits, report);
      }
      count = count * 10 + c - '0';
    }
    return digits.isEmpty() || digits.length() > MOST_DIGITS_OF_A_COUNT
        ? refused(field, digits, report)
        : Integer.valueOf(count);
  }

  private static @Nullable Integer refused(Field field, String text, Report report) {
    report.refuse(COUNT_UNREADABLE, field, text, "not a whole number from 0.");
    return null;
  }
}
