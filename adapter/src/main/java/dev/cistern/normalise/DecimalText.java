// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.normalise;

import static dev.cistern.normalise.NormaliseReason.DECIMAL_AGAINST_MAPPING;
import static dev.cistern.normalise.NormaliseReason.NUMBER_AMBIGUOUS;
import static dev.cistern.normalise.NormaliseReason.NUMBER_GROUPED;
import static dev.cistern.normalise.NormaliseReason.NUMBER_NEGATIVE;
import static dev.cistern.normalise.NormaliseReason.NUMBER_NOT_ASCII;
import static dev.cistern.normalise.NormaliseReason.NUMBER_SIGNED;
import static dev.cistern.normalise.NormaliseReason.NUMBER_TOO_LONG;
import static dev.cistern.normalise.NormaliseReason.NUMBER_UNREADABLE;

import dev.cistern.scan.Field;
import java.math.BigDecimal;
import org.jspecify.annotations.Nullable;

/**
 * Reads a number from 0 as it is written, exactly: ASCII digits and at most one decimal separator
 * with digits on both sides. Everything else is refused with a sentence, because each guess at what
 * was meant has once been wrong by a thousand.
 */
final class DecimalText {
  /** A binary fraction printed in full has up to 17. */
  static final int MOST_DIGITS = 20;

  private final Field field;
  private final String text;
  private final char decimal;
  private final char other;
  private final Report report;

  private DecimalText(Field field, String text, char decimal, Report report) {
    this.field = field;
    this.text = text;
    this.decimal = decimal;
    this.other = decimal == ',' ? '.' : ',';
    this.report = report;
  }

  /** The number in a text without blanks around it; null where it was refused. */
  static @Nullable BigDecimal read(Field field, String text, char decimal, Report report) {
    return new DecimalText(field, text, decimal, report).read();
  }

  /** Whether a character can belong to a number, rightly or wrongly; what follows is the unit. */
  static boolean isPartOfNumber(char c) {
    return isDigit(c)
        || c == '.'
        || c == ','
        || c == ' '
        || c == '\t'
        || c == '+'
        || c == '-'
        || c == '\''
        || c == '_'
        || (c >= 0x80 && (Character.isDigit(c) || Character.isSpaceChar(c) || looksLikeSign(c)));
  }

  /** Minus, figure and other dashes, right quotation mark, Arabic decimal and thousands signs. */
  private static boolean looksLikeSign(char c) {
    return c == '\u2212'
        || (c >= '\u2010' && c <= '\u2015')
        || c == '\u2019'
        || c == '\u066B'
        || c == '\u066C'
        || c == '\uFF0E'
        || c == '\uFF0C'
        || c == '\uFF0D'
        || c == '\uFF0B';
  }

  private static boolean isDigit(char c) {
    return c >= '0' && c <= '9';
  }

  private @Nullable BigDecimal read() {
    int length = text.length();
    int separator = -1;
    for (int i = 0; i < length; i++) {
      char c = text.charAt(i);
      if (c == decimal && separator < 0) {
        separator = i;
      } else if (!isDigit(c)) {
        return refused();
      }
    }
    if (length == 0 || separator == 0 || separator == length - 1) {
      return refused();
    }
    if ((separator < 0 ? length : length - 1) > MOST_DIGITS) {
      return refused(NUMBER_TOO_LONG, "more digits than any measurement has");
    }
    return new BigDecimal(decimal == ',' ? text.replace(',', '.') : text);
  }

  /** Says what stands in the way, most telling first. */
  private @Nullable BigDecimal refused() {
    int strange = firstBeyondAscii();
    if (strange >= 0) {
      int c = text.codePointAt(strange);
      return refused(
          NUMBER_NOT_ASCII, "holds the character U+%04X (%s)".formatted(c, Character.getName(c)));
    } else if (text.isEmpty() || text.chars().noneMatch(c -> isDigit((char) c))) {
      return refused(NUMBER_UNREADABLE, "not a number");
    } else if (text.charAt(0) == '-') {
      return refused(NUMBER_NEGATIVE, "a minus sign; nothing measured here lies below zero");
    } else if (text.charAt(0) == '+') {
      return refused(NUMBER_SIGNED, "a plus sign, which may mean \"or more\"");
    } else if (text.indexOf('-') > 0 || text.indexOf('+') > 0) {
      return refused(NUMBER_UNREADABLE, "looks like a range or a sum, not like one number");
    } else if (text.chars().anyMatch(c -> c == ' ' || c == '\t' || c == '\'' || c == '_')) {
      return refused(NUMBER_GROUPED, "blanks or apostrophes between the digits");
    } else if (text.indexOf(other) >= 0) {
      return otherSeparator();
    } else if (text.charAt(0) == decimal || text.charAt(text.length() - 1) == decimal) {
      return refused(NUMBER_UNREADABLE, "no digit on one side of the decimal separator");
    }
    return refused(NUMBER_UNREADABLE, "not a number");
  }

  private @Nullable BigDecimal otherSeparator() {
    int last = text.lastIndexOf(other);
    int end = text.indexOf(decimal, last);
    int following = (end < 0 ? text.length() : end) - last - 1;
    if (following == 3) {
      return refused(
          NUMBER_AMBIGUOUS,
          "the mapping's decimal separator is "
              + name(decimal)
              + ", so the "
              + name(other)
              + " may separate thousands, or be a decimal separator after all");
    }
    return refused(
        DECIMAL_AGAINST_MAPPING,
        "written with a decimal " + name(other) + ", but the mapping says " + name(decimal));
  }

  private static String name(char separator) {
    return separator == ',' ? "comma" : "point";
  }

  private int firstBeyondAscii() {
    for (int i = 0; i < text.length(); i++) {
      if (text.charAt(i) >= 0x80) {
        return i;
      }
    }
    return -1;
  }

  private @Nullable BigDecimal refused(NormaliseReason reason, String sentence) {
    report.refuse(reason, field, text, sentence + ".");
    return null;
  }
}
