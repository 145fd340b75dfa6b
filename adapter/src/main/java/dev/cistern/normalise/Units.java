// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.normalise;

import static dev.cistern.normalise.NormaliseReason.UNIT_ANNOTATION;
import static dev.cistern.normalise.NormaliseReason.UNIT_BARE_OUNCE;
import static dev.cistern.normalise.NormaliseReason.UNIT_IS_NUMBER;
import static dev.cistern.normalise.NormaliseReason.UNIT_MEGALITRE;
import static dev.cistern.normalise.NormaliseReason.UNIT_NOT_CUBIC_CENTIMETRE;
import static dev.cistern.normalise.NormaliseReason.UNIT_UNKNOWN;

import java.util.Arrays;
import java.util.Locale;
import java.util.Map;
import java.util.Set;
import java.util.function.Function;
import java.util.stream.Collectors;
import org.jspecify.annotations.Nullable;

/**
 * The units that are understood: a closed table of UCUM codes, case and all, with exact factors.
 *
 * <p>Source: UCUM (ucum-essence 2.2), <a href="https://ucum.org/ucum">ucum.org</a>. A pound is
 * 0.45359237 kg and an inch 2.54 cm by definition; a US fluid ounce is 231 cubic inches by 128.
 */
final class Units {
  private static final Map<String, Unit> TABLE =
      table(
          Unit.metric("mL", Quantity.VOLUME, 0),
          Unit.metric("ml", Quantity.VOLUME, 0),
          Unit.metric("L", Quantity.VOLUME, 3),
          Unit.metric("l", Quantity.VOLUME, 3),
          Unit.metric("dL", Quantity.VOLUME, 2),
          Unit.metric("cL", Quantity.VOLUME, 1),
          Unit.metric("uL", Quantity.VOLUME, -3),
          Unit.metric("cm3", Quantity.VOLUME, 0),
          Unit.metric("mm3", Quantity.VOLUME, -3),
          Unit.times("[foz_us]", Quantity.VOLUME, "29.5735295625"),
          Unit.times("[foz_br]", Quantity.VOLUME, "28.4130625"),
          Unit.metric("cm", Quantity.LENGTH, 0),
          Unit.metric("mm", Quantity.LENGTH, -1),
          Unit.metric("m", Quantity.LENGTH, 2),
          Unit.times("[in_i]", Quantity.LENGTH, "2.54"),
          Unit.metric("kg", Quantity.MASS, 0),
          Unit.metric("g", Quantity.MASS, -3),
          Unit.times("[lb_av]", Quantity.MASS, "0.45359237"),
          Unit.metric("min", Quantity.DURATION, 0),
          Unit.times("h", Quantity.DURATION, "60"),
          Unit.dividedBy("s", Quantity.DURATION, 60));

  private static final Set<String> BARE_OUNCES =
      Set.of("oz", "oz.", "ozs", "ounce", "ounces", "floz", "fl oz", "fl.oz", "fl. oz", "fl.oz.");
  private static final Set<String> NOT_CUBIC_CENTIMETRES =
      Set.of("cu.cm", "cu.cm.", "cu cm", "cu. cm", "cu. cm.", "cucm");

  private Units() {}

  private static Map<String, Unit> table(Unit... units) {
    return Arrays.stream(units).collect(Collectors.toMap(Unit::code, Function.identity()));
  }

  static @Nullable Unit of(String code) {
    return TABLE.get(code);
  }

  static Map<String, Unit> table() {
    return TABLE;
  }

  /** Why a spelling that is not in the table is refused. */
  static NormaliseReason refusal(String spelling) {
    String lower = spelling.toLowerCase(Locale.ROOT);
    if (spelling.equals("ML") || spelling.equals("Ml")) {
      return UNIT_MEGALITRE;
    } else if (BARE_OUNCES.contains(lower)) {
      return UNIT_BARE_OUNCE;
    } else if (NOT_CUBIC_CENTIMETRES.contains(lower)) {
      return UNIT_NOT_CUBIC_CENTIMETRE;
    } else if (spelling.startsWith("{") && spelling.endsWith("}")) {
      return UNIT_ANNOTATION;
    } else if (isNumber(spelling)) {
      return UNIT_IS_NUMBER;
    }
    return UNIT_UNKNOWN;
  }

  private static boolean isNumber(String spelling) {
    return spelling.chars().anyMatch(Character::isDigit)
        && spelling.chars().allMatch(c -> Character.isDigit(c) || c == '.' || c == ',');
  }
}
