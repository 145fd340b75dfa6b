// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import dev.cistern.scan.Comparator;
import dev.cistern.scan.Volume;
import java.math.BigDecimal;
import org.hl7.fhir.r4.model.Quantity;
import org.hl7.fhir.r4.model.Quantity.QuantityComparator;
import org.hl7.fhir.r4.model.StringType;
import org.jspecify.annotations.Nullable;

/** Numbers with UCUM units, digit for digit as they were given. */
final class Quantities {
  static final String UCUM = "http://unitsofmeasure.org";

  /**
   * FHIR's own extension for what was entered before it was understood: it stays beside the value,
   * on any element, and every server must keep it.
   */
  static final String ORIGINAL_TEXT = "http://hl7.org/fhir/StructureDefinition/originalText";

  private Quantities() {}

  static Quantity of(BigDecimal value, String unit) {
    return new Quantity().setValue(plain(value)).setUnit(unit).setSystem(UCUM).setCode(unit);
  }

  /**
   * @param asSent the sender's text, with its unit; null where it was not kept
   */
  static Quantity of(Volume volume, @Nullable String asSent) {
    Quantity quantity = of(volume.millilitres(), "mL");
    Comparator comparator = volume.comparator();
    if (comparator != null) {
      quantity.setComparator(QuantityComparator.fromCode(comparator.code()));
    }
    if (asSent != null && !asSent.isBlank()) {
      quantity.addExtension(ORIGINAL_TEXT, new StringType(asSent));
    }
    return quantity;
  }

  /**
   * The same digits without an exponent: 1E+3 is written 1000. (JSON would still write an exponent
   * for less than a millionth, which FHIR allows; a zero is cut there, as nothing is lost.)
   */
  private static BigDecimal plain(BigDecimal value) {
    if (value.scale() < 0) {
      return value.setScale(0);
    }
    return value.signum() == 0 && value.scale() > 6 ? value.setScale(6) : value;
  }
}
