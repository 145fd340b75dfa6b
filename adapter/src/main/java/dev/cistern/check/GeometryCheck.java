// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import static dev.cistern.scan.Severity.NOTE;
import static dev.cistern.scan.Severity.WARN;

import dev.cistern.scan.Field;
import dev.cistern.scan.Scan;
import dev.cistern.scan.Volume;
import java.math.BigDecimal;
import java.math.MathContext;
import java.util.stream.Stream;
import org.jspecify.annotations.Nullable;

/**
 * The volume against the axes of the bladder: volume = coefficient × length × width × height, in cm
 * and mL. Nothing is ever computed anew; the coefficient that the sender's own numbers imply is
 * compared with the published ones.
 */
enum GeometryCheck implements Check {
  AXES_INCOMPLETE(
      Rule.of(
          "axes-incomplete",
          NOTE,
          Field.BLADDER_LENGTH,
          "Not all three axes of the bladder are given, so the volume cannot be compared with them.",
          "Nothing; amend the missing axis where it is known.",
          "common practice, no source",
          GeometryCheck::incomplete)),
  AXES_UNIT_SUSPECTED(
      Rule.of(
          "axes-unit-suspected",
          WARN,
          Field.BLADDER_LENGTH,
          "Volume and axes differ by a thousand: millimetres were taken for centimetres, or the other"
              + " way round.",
          "Correct the unit of the axes in the mapping, or amend them.",
          "arithmetic: a tenth on each of three axes is a thousandth of the volume",
          GeometryCheck::unitSuspected)),
  OFF_ELLIPSOID(
      Rule.of(
          "volume-off-ellipsoid",
          WARN,
          Field.VOLUME,
          "Volume and axes do not belong together: no published coefficient leads from one to the"
              + " other.",
          "Compare with the scanner's display; volume and axes may be from different scans.",
          "coefficients in use: 0.5, 0.52, pi/6, 0.6, 0.66, 0.75; 0.625 to 1.00 in an overview with"
              + " 21 formulas; 0.561 to 0.923 by shape in 146 children",
          GeometryCheck::offEllipsoid));

  private static final MathContext FOUR_DIGITS = new MathContext(4);

  /** The coefficient of an ellipsoid, pi / 6. */
  private static final BigDecimal ELLIPSOID = new BigDecimal("0.523598775598");

  @SuppressWarnings("ImmutableEnumChecker") // texts and a method
  private final Rule rule;

  GeometryCheck(Rule rule) {
    this.rule = rule;
  }

  @Override
  public Rule rule() {
    return rule;
  }

  private static @Nullable String incomplete(Sight sight) {
    Scan.Axes axes = sight.scan().axes();
    long given =
        Stream.of(Field.BLADDER_LENGTH, Field.BLADDER_WIDTH, Field.BLADDER_HEIGHT)
            .filter(sight::wasSent)
            .count();
    return !axes.complete() && given > 0 && given < 3
        ? "Only " + given + " of the three axes of the bladder are given."
        : null;
  }

  /** Length × width × height in cubic centimetres; null where an axis is missing. */
  private static @Nullable BigDecimal box(Scan.Axes axes) {
    return axes.lengthCm() == null || axes.widthCm() == null || axes.heightCm() == null
        ? null
        : axes.lengthCm().multiply(axes.widthCm()).multiply(axes.heightCm());
  }

  /** What the sender's own numbers imply; null where they imply none. */
  private static @Nullable BigDecimal coefficient(Sight sight) {
    Volume volume = sight.volume();
    BigDecimal box = box(sight.scan().axes());
    return volume == null || !volume.isExact() || box == null || box.signum() == 0
        ? null
        : volume.millilitres().divide(box, FOUR_DIGITS);
  }

  private static boolean isPlausible(BigDecimal coefficient, Sight sight) {
    BigDecimal tolerance = sight.limit(Limit.COEFFICIENT_TOLERANCE).value().movePointLeft(2);
    BigDecimal lowest =
        sight.limit(Limit.LOWEST_COEFFICIENT).value().multiply(BigDecimal.ONE.subtract(tolerance));
    BigDecimal highest =
        sight.limit(Limit.HIGHEST_COEFFICIENT).value().multiply(BigDecimal.ONE.add(tolerance));
    return coefficient.compareTo(lowest) >= 0 && coefficient.compareTo(highest) <= 0;
  }

  private static boolean differsByAThousand(BigDecimal coefficient, Sight sight) {
    return isPlausible(coefficient.movePointRight(3), sight)
        || isPlausible(coefficient.movePointLeft(3), sight);
  }

  private static @Nullable String unitSuspected(Sight sight) {
    BigDecimal coefficient = coefficient(sight);
    return coefficient != null && differsByAThousand(coefficient, sight)
        ? "The volume and the axes imply a coefficient of "
            + coefficient.toPlainString()
            + ": the unit of the axes is wrong by ten."
        : null;
  }

  private static @Nullable String offEllipsoid(Sight sight) {
    BigDecimal coefficient = coefficient(sight);
    BigDecimal box = box(sight.scan().axes());
    Volume volume = sight.volume();
    if (coefficient == null
        || box == null
        || volume == null
        || isPlausible(coefficient, sight)
        || differsByAThousand(coefficient, sight)) {
      return null;
    }
    Setting lowest = sight.limit(Limit.LOWEST_COEFFICIENT);
    Setting highest = sight.limit(Limit.HIGHEST_COEFFICIENT);
    return "The volume of "
        + Words.volume(volume)
        + " and the axes imply a coefficient of "
        + coefficient.toPlainString()
        + ", far off "
        + Words.number(lowest.value())
        + " to "
        + highest.words()
        + "; an ellipsoid (0.5236) of these axes holds "
        + Words.millilitres(box.multiply(ELLIPSOID))
        + ".";
  }
}
