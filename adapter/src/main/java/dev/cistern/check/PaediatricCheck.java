// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import static dev.cistern.scan.Severity.NOTE;

import dev.cistern.scan.Field;
import dev.cistern.scan.Volume;
import java.math.BigDecimal;
import java.time.LocalDate;
import java.time.OffsetDateTime;
import java.util.Optional;
import org.jspecify.annotations.Nullable;

/** What formulas expect of a child: context for whoever reads the result, never a verdict. */
enum PaediatricCheck implements Check {
  EXPECTED_CAPACITY(
      Rule.of(
          "expected-capacity",
          NOTE,
          Field.BIRTH_DATE,
          "What a published formula expects a child of this age to hold.",
          "Nothing; it is context for whoever reads the result.",
          "4 years and over: Eur J Pediatr 2012;171:971, Box 1 (the span of ages from memory);"
              + " plateau from 12: documentation of a published pharmacometric model, secondary;"
              + " first year: Holmdahl et al., J Urol 1996;156:1809",
          PaediatricCheck::expected)),
  ABOVE_EXPECTED_CAPACITY(
      Rule.of(
          "above-expected-capacity",
          NOTE,
          Field.VOLUME,
          "The volume is larger than what a published formula expects a child of this age to hold.",
          "Look after the child first; the formula is a mean, and no limit.",
          "as for expected-capacity",
          PaediatricCheck::above));

  @SuppressWarnings("ImmutableEnumChecker") // texts and a method
  private final Rule rule;

  PaediatricCheck(Rule rule) {
    this.rule = rule;
  }

  @Override
  public Rule rule() {
    return rule;
  }

  private static Optional<BigDecimal> capacity(Sight sight) {
    LocalDate birth = sight.scan().subject().birthDate();
    OffsetDateTime measured = sight.measuredAt();
    return birth == null || measured == null
        ? Optional.empty()
        : ExpectedCapacity.at(measured.toLocalDate(), birth);
  }

  private static @Nullable String expected(Sight sight) {
    return capacity(sight)
        .map(c -> "At this age, a published formula expects " + Words.millilitres(c) + ".")
        .orElse(null);
  }

  private static @Nullable String above(Sight sight) {
    Volume volume = sight.volume();
    BigDecimal reached = sight.reached();
    return volume == null || reached == null
        ? null
        : capacity(sight)
            .filter(c -> reached.compareTo(c) > 0)
            .map(
                c ->
                    "The volume of "
                        + Words.volume(volume)
                        + " is larger than the "
                        + Words.millilitres(c)
                        + " that a published formula expects at this age.")
            .orElse(null);
  }
}
