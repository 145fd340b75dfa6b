// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.normalise;

import static dev.cistern.normalise.NormaliseReason.COMPARATOR_NOT_ALLOWED;
import static dev.cistern.normalise.NormaliseReason.NUMBER_NOT_FINITE;
import static dev.cistern.normalise.NormaliseReason.NUMBER_UNREADABLE;
import static dev.cistern.normalise.NormaliseReason.NUMBER_WITH_EXPONENT;
import static dev.cistern.normalise.NormaliseReason.UNITS_DIFFER;
import static dev.cistern.normalise.NormaliseReason.UNIT_MISSING;
import static dev.cistern.normalise.NormaliseReason.UNIT_OF_OTHER_KIND;
import static dev.cistern.normalise.NormaliseReason.UNIT_UNKNOWN;

import dev.cistern.scan.Comparator;
import dev.cistern.scan.Field;
import dev.cistern.scan.FieldValue;
import dev.cistern.scan.Volume;
import java.math.BigDecimal;
import java.util.Locale;
import java.util.Set;
import org.jspecify.annotations.Nullable;

/**
 * Reads a number with a unit: {@code 142}, {@code 142 mL}, {@code > 999}. The unit stands in its
 * own field, behind the number, or in both if they agree.
 */
final class QuantityText {
  private static final Set<String> NOT_FINITE =
      Set.of("nan", "inf", "infinity", "-inf", "-infinity", "+inf", "+infinity", "∞", "-∞");

  private final Field field;
  private final FieldValue value;
  private final Quantity quantity;
  private final Report report;

  QuantityText(Field field, FieldValue value, Quantity quantity, Report report) {
    this.field = field;
    this.value = value;
    this.quantity = quantity;
    this.report = report;
  }

  /** In millilitres; null where it was refused. */
  @Nullable Volume volume() {
    String text = Texts.trimmed(value.text());
    Comparator comparator = comparator(text);
    BigDecimal millilitres = canonical(text.substring(signs(text)), text);
    return millilitres == null ? null : new Volume(millilitres, comparator);
  }

  /** In the canonical unit of the quantity; null where it was refused. */
  @Nullable BigDecimal number() {
    String text = Texts.trimmed(value.text());
    if (signs(text) > 0) {
      report.refuse(COMPARATOR_NOT_ALLOWED, field, text, "only volumes may carry such a sign.");
      return null;
    }
    return canonical(text, text);
  }

  private static @Nullable Comparator comparator(String text) {
    return switch (text.substring(0, signs(text))) {
      case ">" -> Comparator.GREATER;
      case ">=", "≥" -> Comparator.GREATER_OR_EQUAL;
      case "<" -> Comparator.LESS;
      case "<=", "≤" -> Comparator.LESS_OR_EQUAL;
      default -> null;
    };
  }

  /** The length of the comparator in front. */
  private static int signs(String text) {
    if (text.isEmpty()) {
      return 0;
    }
    return switch (text.charAt(0)) {
      case '>', '<' -> text.startsWith("=", 1) ? 2 : 1;
      case '≥', '≤' -> 1;
      default -> 0;
    };
  }

  private @Nullable BigDecimal canonical(String text, String whole) {
    int end = endOfNumber(text);
    String number = Texts.trimmed(text.substring(0, end));
    String inside = Texts.trimmed(text.substring(end));
    String given = value.unit() == null ? "" : Texts.trimmed(value.unit());
    if (NOT_FINITE.contains(Texts.trimmed(text).toLowerCase(Locale.ROOT))) {
      report.refuse(NUMBER_NOT_FINITE, field, whole, "stands for no number.");
      return null;
    } else if (hasNoDigit(number)) {
      report.refuse(NUMBER_UNREADABLE, field, whole, "not a number.");
      return null;
    } else if (isExponent(inside)) {
      report.refuse(NUMBER_WITH_EXPONENT, field, whole, "an exponent; write the digits out.");
      return null;
    } else if (!inside.isEmpty() && !given.isEmpty() && isNoUnit(inside)) {
      report.refuse(NUMBER_UNREADABLE, field, whole, "something that is no unit after the digits.");
      return null;
    }
    BigDecimal read = DecimalText.read(field, number, value.reading().decimal(), report);
    Unit unit = unit(inside, given, whole);
    return read == null || unit == null ? null : unit.toCanonical(read);
  }

  private static int endOfNumber(String text) {
    int end = 0;
    while (end < text.length() && DecimalText.isPartOfNumber(text.charAt(end))) {
      end++;
    }
    return end;
  }

  private static boolean hasNoDigit(String number) {
    return number.chars().noneMatch(Character::isDigit);
  }

  private boolean isNoUnit(String inside) {
    return lookUp(inside) == null
        && !value.reading().unitAliases().containsKey(inside)
        && Units.refusal(inside) == UNIT_UNKNOWN;
  }

  private static boolean isExponent(String inside) {
    if (inside.length() < 2 || Character.toLowerCase(inside.charAt(0)) != 'e') {
      return false;
    }
    char next = inside.charAt(1);
    return Character.isDigit(next)
        || ((next == '-' || next == '+')
            && inside.length() > 2
            && Character.isDigit(inside.charAt(2)));
  }

  private @Nullable Unit unit(String inside, String given, String whole) {
    if (inside.isEmpty() && given.isEmpty()) {
      return withoutUnit(whole);
    } else if (inside.isEmpty() || given.isEmpty()) {
      return resolved(inside.isEmpty() ? given : inside);
    }
    Unit first = resolved(inside);
    Unit second = resolved(given);
    if (first == null || second == null) {
      return null;
    } else if (!first.sameAs(second)) {
      report.refuse(
          UNITS_DIFFER, field, whole, "the unit field says " + report.quoted(given) + ".");
      return null;
    }
    return first;
  }

  /** Nobody states a time since the void in anything but minutes without saying so. */
  private @Nullable Unit withoutUnit(String whole) {
    if (quantity == Quantity.DURATION) {
      return Units.of(quantity.canonical());
    }
    report.refuse(UNIT_MISSING, field, whole, "no unit.");
    return null;
  }

  private @Nullable Unit lookUp(String spelling) {
    String code = value.reading().unitAliases().get(spelling);
    return Units.of(code == null ? spelling : code);
  }

  private @Nullable Unit resolved(String spelling) {
    Unit unit = lookUp(spelling);
    if (unit == null) {
      boolean alias = value.reading().unitAliases().containsKey(spelling);
      NormaliseReason reason = alias ? UNIT_UNKNOWN : Units.refusal(spelling);
      report.refuse(reason, field, value.text(), because(reason, spelling, alias));
      return null;
    } else if (unit.quantity() != quantity) {
      report.refuse(
          UNIT_OF_OTHER_KIND,
          field,
          value.text(),
          "the unit " + report.quoted(spelling) + " measures a " + unit.quantity().words() + ".");
      return null;
    }
    return unit;
  }

  private String because(NormaliseReason reason, String spelling, boolean alias) {
    String unit = "the unit " + report.quoted(spelling);
    if (alias) {
      return unit + " is an alias of something that is not a known unit.";
    } else if (reason == UNIT_UNKNOWN) {
      return unit
          + " is not known; a "
          + quantity.words()
          + " is given in "
          + quantity.canonical()
          + ", or the mapping names an alias.";
    }
    return unit + ". " + reason.words();
  }
}
