// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.fhir.Examples;
import java.math.BigDecimal;
import java.util.Random;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.EnumSource;

/**
 * The formulas are those of Valentini et al., Prog Urol 2019;29:567, and Chang and Yang, J Urol
 * 2009;182(4S):1933; the values were computed from them for this project.
 */
class DerivedTest {

  private static Examples residual(String voided, String residual) {
    Examples example = Examples.residual();
    example.voidedVolume = Volume.millilitres(new BigDecimal(voided));
    example.volume = Volume.millilitres(new BigDecimal(residual));
    return example;
  }

  @ParameterizedTest(name = "voided {0}, residual {1}")
  @CsvSource({
    "300, 0, 300, 100.0",
    "250, 50, 300, 83.3",
    "150, 150, 300, 50.0",
    "100, 300, 400, 25.0",
    "0, 400, 400, 0.0",
    "0.5, 142.25, 142.75, 0.4",
    "1, 2, 3, 33.3",
    "2, 1, 3, 66.7",
  })
  void capacity_is_the_sum_and_efficiency_the_part_that_left(
      String voided, String residual, String capacity, String efficiency) {
    Scan scan = residual(voided, residual).scan();

    assertThat(Derived.CAPACITY.of(scan)).isEqualTo(capacity);
    assertThat(Derived.VOIDING_EFFICIENCY.of(scan)).isEqualTo(efficiency);
  }

  @Test
  void where_nothing_was_voided_and_nothing_is_left_there_is_no_efficiency() {
    Scan scan = residual("0", "0").scan();

    assertThat(Derived.CAPACITY.of(scan)).isEqualTo("0");
    assertThat(Derived.VOIDING_EFFICIENCY.of(scan)).isNull();
  }

  @ParameterizedTest
  @EnumSource(Derived.class)
  void nothing_follows_where_the_void_is_not_asserted_or_a_volume_is_missing_or_not_exact(
      Derived kind) {
    Examples unspecified = residual("250", "50");
    unspecified.purpose = Purpose.UNSPECIFIED;
    Examples before = residual("250", "50");
    before.purpose = Purpose.PRE_VOID;
    Examples noVoid = residual("250", "50");
    noVoid.voidedVolume = null;
    Examples noVolume = Examples.failed();
    Examples beyond = residual("250", "999");
    beyond.volume = Volume.millilitres(999).beyond(Comparator.GREATER);
    Examples voidedBeyond = residual("999", "50");
    voidedBeyond.voidedVolume = Volume.millilitres(999).beyond(Comparator.GREATER_OR_EQUAL);
    Examples cancelled = residual("250", "50");
    cancelled.status = Status.CANCELLED;
    Examples notAccepted = residual("250", "50");
    notAccepted.accepted = Answer.NO;

    for (Examples example :
        new Examples[] {
          unspecified, before, noVoid, noVolume, beyond, voidedBeyond, cancelled, notAccepted
        }) {
      assertThat(kind.of(example.scan())).isNull();
      assertThat(kind.isDue(example.scan())).isFalse();
    }
  }

  @ParameterizedTest
  @EnumSource(Derived.class)
  void a_withdrawn_result_is_no_reason_to_write_anything_new(Derived kind) {
    Scan withdrawn = residual("250", "50").scan().withdrawn();

    assertThat(kind.of(withdrawn)).isNotNull();
    assertThat(kind.isDue(withdrawn)).isFalse();
  }

  @Test
  void an_efficiency_lies_between_nothing_and_all_whatever_the_volumes() {
    Random random = new Random(20260314);
    for (int i = 0; i < 10_000; i++) {
      String voided = BigDecimal.valueOf(random.nextInt(110_000), random.nextInt(3)).toString();
      String residual = BigDecimal.valueOf(random.nextInt(110_000), random.nextInt(3)).toString();
      Scan scan = residual(voided, residual).scan();
      BigDecimal efficiency = Derived.VOIDING_EFFICIENCY.of(scan);
      BigDecimal capacity = Derived.CAPACITY.of(scan);
      assertThat(capacity)
          .as("%s and %s", voided, residual)
          .isEqualByComparingTo(new BigDecimal(voided).add(new BigDecimal(residual)));
      if (efficiency != null) {
        assertThat(efficiency).isBetween(BigDecimal.ZERO, BigDecimal.valueOf(100));
      }
    }
  }
}
