// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.refine;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import dev.cistern.check.Checks;
import dev.cistern.check.Policy;
import dev.cistern.ledger.LedgerUnavailable;
import dev.cistern.mapping.Mapping;
import dev.cistern.scan.Arrival;
import dev.cistern.scan.Field;
import dev.cistern.scan.FieldValue;
import dev.cistern.scan.Fields;
import dev.cistern.scan.Finding;
import dev.cistern.scan.IdEntry;
import dev.cistern.scan.Place;
import dev.cistern.scan.RawEntry;
import dev.cistern.scan.Reading;
import dev.cistern.scan.Refined;
import dev.cistern.testing.TestClock;
import java.time.Duration;
import java.time.Instant;
import java.util.EnumMap;
import java.util.List;
import java.util.Map;
import org.junit.jupiter.api.Test;

class RefineryTest {
  private static final Arrival ARRIVAL =
      new Arrival(Ward.ELM, Instant.parse("2026-03-14T12:00:00Z"), 1, null);

  private final TestClock clock = TestClock.at("2026-03-14T12:00:00Z");
  private final Mapping mapping = Mapping.read(Ward.MAPPINGS.resolve("elm-ward-export.yaml"));
  private final Refinery refinery =
      new Refinery(Checks.under(Policy.shipped()), Clocks.NONE, clock);

  private static RawEntry raw(Map<Field, String> texts) {
    Map<Field, FieldValue> values = new EnumMap<>(Field.class);
    texts.forEach(
        (field, text) ->
            values.put(
                field,
                FieldValue.amended(
                    text, Reading.canonicalIn(java.time.ZoneId.of("Europe/Vienna")))));
    return new RawEntry(Place.ordinal(1), new Fields(values), List.of());
  }

  private static final Map<Field, String> GOOD =
      Map.of(
          Field.PATIENT_ID, "9990000018",
          Field.MEASURED_AT, "2026-03-14T09:05:00+01:00",
          Field.VOLUME, "142 mL",
          Field.DEVICE_SERIAL, "AV-0012",
          Field.EXAM_ID, "0007");

  @SuppressWarnings("NullAway") // a decoder with a fault
  private static RawEntry broken() {
    return new RawEntry(Place.ordinal(3), null, List.of());
  }

  @Test
  void an_entry_is_not_blamed_for_a_store_that_cannot_be_read() {
    Refinery blind =
        new Refinery(
            Checks.under(Policy.shipped()),
            (device, arrival) -> {
              throw new LedgerUnavailable("the ledger could not be read");
            },
            clock);
    assertThatThrownBy(() -> blind.refine(mapping, raw(GOOD), Map.of(), ARRIVAL))
        .isInstanceOf(LedgerUnavailable.class);
  }

  /** The policy as shipped calls a result old after 31 days. */
  @Test
  void a_result_that_was_new_and_has_waited_here_says_so_and_is_not_called_old() {
    Refined first = refinery.refine(mapping, raw(GOOD), Map.of(), ARRIVAL);
    clock.tick(Duration.ofDays(40));
    Refined later = refinery.refine(mapping, raw(GOOD), Map.of(), ARRIVAL);
    assertThat(first.findings()).extracting(Finding::code).doesNotContain("waited");
    assertThat(later.findings())
        .extracting(Finding::code)
        .contains("waited")
        .doesNotContain("result-old");
    assertThat(later.scan()).isEqualTo(first.scan());
    assertThat(later.accepted()).isTrue();
  }

  @Test
  void the_same_entry_gives_the_same_result() {
    Refined first = refinery.refine(mapping, raw(GOOD), Map.of(), ARRIVAL);
    assertThat(first.accepted()).isTrue();
    assertThat(refinery.refine(mapping, raw(GOOD), Map.of(), ARRIVAL)).isEqualTo(first);
    assertThat(first.mapping()).startsWith("elm-ward-export@");
  }

  @Test
  void a_fault_of_the_program_holds_the_entry_and_stops_nobody() {
    Refined refined = refinery.refine(mapping, broken(), Map.of(), ARRIVAL);

    assertThat(refined.accepted()).isFalse();
    assertThat(refined.rejectedBy()).isEqualTo(RefineReason.REFINE_FAILED.code());
    assertThat(refined.place()).isEqualTo(Place.ordinal(3));
    assertThat(refined.findings()).hasSize(1);
    assertThat(refinery.refine(mapping, raw(GOOD), Map.of(), ARRIVAL).accepted()).isTrue();
  }

  @Test
  void a_bare_number_that_a_person_sets_is_in_the_unit_of_the_field() {
    Refined refined = refinery.refine(mapping, raw(GOOD), Map.of(Field.VOLUME, "215"), ARRIVAL);
    assertThat(refined.accepted()).isTrue();
    assertThat(String.valueOf(refined.scan().measurement().volume())).contains("215");
  }

  @Test
  void how_the_sender_came_by_a_number_says_nothing_of_an_amended_one() {
    Map<Field, String> scanned = new EnumMap<>(GOOD);
    scanned.put(Field.PATIENT_ID_ENTRY, "scanned");
    assertThat(
            refinery
                .refine(mapping, raw(scanned), Map.of(Field.VOLUME, "215"), ARRIVAL)
                .scan()
                .subject()
                .entry())
        .isEqualTo(IdEntry.SCANNED);
    assertThat(
            refinery
                .refine(mapping, raw(scanned), Map.of(Field.PATIENT_ID, "9990000026"), ARRIVAL)
                .scan()
                .subject()
                .entry())
        .isNull();
    assertThat(
            refinery
                .refine(
                    mapping,
                    raw(scanned),
                    Map.of(Field.PATIENT_ID, "9990000026", Field.PATIENT_ID_ENTRY, "typed"),
                    ARRIVAL)
                .scan()
                .subject()
                .entry())
        .isEqualTo(IdEntry.TYPED);
  }

  /** HL7 v2.5.1, chapter 2A, data type CX: 1234567^4^M11. */
  @Test
  void the_check_digit_of_a_number_says_nothing_of_an_amended_one() {
    Map<Field, String> wrong = new EnumMap<>(GOOD);
    wrong.put(Field.PATIENT_ID, "1234576");
    wrong.put(Field.PATIENT_ID_CHECK, "4 M11");
    assertThat(refinery.refine(mapping, raw(wrong), Map.of(), ARRIVAL).findings())
        .extracting(Finding::code)
        .contains("patient-check-digit-differs");
    for (Map<Field, String> amended :
        List.of(
            Map.of(Field.PATIENT_ID, "1234567"),
            Map.of(Field.PATIENT_ID, "1234568"),
            Map.of(Field.PATIENT_ID_CHECK, ""))) {
      assertThat(refinery.refine(mapping, raw(wrong), amended, ARRIVAL).accepted()).isTrue();
    }
    assertThat(
            refinery
                .refine(
                    mapping,
                    raw(wrong),
                    Map.of(Field.PATIENT_ID, "1234568", Field.PATIENT_ID_CHECK, "4 M11"),
                    ARRIVAL)
                .accepted())
        .isFalse();
  }

  @Test
  void an_empty_value_takes_a_field_away() {
    Refined refined = refinery.refine(mapping, raw(GOOD), Map.of(Field.PATIENT_ID, ""), ARRIVAL);
    assertThat(refined.accepted()).isFalse();
    assertThat(refined.scan().subject().patientId()).isNull();
  }
}
