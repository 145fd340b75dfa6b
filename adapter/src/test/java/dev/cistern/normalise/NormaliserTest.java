// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.normalise;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.AbsentReason;
import dev.cistern.scan.Arrival;
import dev.cistern.scan.Coded;
import dev.cistern.scan.Confounder;
import dev.cistern.scan.Field;
import dev.cistern.scan.FieldValue;
import dev.cistern.scan.Fields;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Flag;
import dev.cistern.scan.Normalised;
import dev.cistern.scan.Purpose;
import dev.cistern.scan.Reading;
import dev.cistern.scan.Scan;
import dev.cistern.scan.ScanKey;
import dev.cistern.scan.Sex;
import dev.cistern.scan.Status;
import dev.cistern.scan.Volume;
import java.time.Instant;
import java.util.EnumMap;
import java.util.List;
import java.util.Map;
import java.util.Random;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.EnumSource;
import org.junit.jupiter.params.provider.ValueSource;

class NormaliserTest {
  private static final Arrival FORM =
      new Arrival("bedside", Instant.parse("2026-03-14T09:00:00Z"), 1, "f-77");

  @Test
  void a_complete_result_is_understood_without_a_finding() {
    Normalised normalised =
        Sent.complete()
            .translated(Field.PURPOSE, "PV", "post-void")
            .with(Field.SEX, "female")
            .with(Field.CONFOUNDERS, "ascites, scar ascites")
            .with(Field.FLAGS, "test|uncertain")
            .with(Field.STATUS, "corrected")
            .with(Field.REVISION, "02")
            .normalised();
    assertThat(normalised.findings()).isEmpty();
    Scan scan = normalised.scan();
    assertThat(scan.subject().patientId()).isEqualTo("AV000123");
    assertThat(scan.subject().sex()).isEqualTo(Sex.FEMALE);
    assertThat(scan.measurement().volume()).isEqualTo(Volume.millilitres(142));
    assertThat(scan.measurement().purpose()).isEqualTo(Purpose.POST_VOID);
    assertThat(scan.measurement().status()).isEqualTo(Status.CORRECTED);
    assertThat(scan.measurement().flags()).containsExactlyInAnyOrder(Flag.TEST, Flag.UNCERTAIN);
    assertThat(scan.exam().confounders()).containsExactly(Confounder.ASCITES, Confounder.SCAR);
    assertThat(scan.handling().revision()).isEqualTo(2);
  }

  @Test
  void nothing_gives_an_empty_scan_that_says_what_identifies_it_is_missing() {
    Normalised normalised = Sent.nothing().normalised();
    assertThat(normalised.scan().measurement().purpose()).isEqualTo(Purpose.UNSPECIFIED);
    assertThat(normalised.scan().measurement().status()).isEqualTo(Status.FINAL);
    assertThat(normalised.scan().measurement().volume()).isNull();
    assertThat(normalised.scan().asSent()).isEmpty();
    assertThat(normalised.key()).isNull();
    assertThat(normalised.findings()).extracting(Finding::code).containsExactly("device-missing");
  }

  @Test
  void each_field_is_kept_as_sent_with_its_unit() {
    Scan scan =
        Sent.complete()
            .with(Field.VOLUME, " 0.142 ", "L")
            .translated(Field.PURPOSE, "PV", "post-void")
            .normalised()
            .scan();
    assertThat(scan.asSent())
        .containsEntry(Field.VOLUME, " 0.142  L")
        .containsEntry(Field.PURPOSE, "PV")
        .containsEntry(Field.EXAM_ID, "0007")
        .hasSize(6);
  }

  @Test
  void a_unit_behind_the_number_is_not_kept_twice() {
    assertThat(Sent.complete().with(Field.VOLUME, "142 mL", "mL").normalised().scan().asSent())
        .containsEntry(Field.VOLUME, "142 mL");
    assertThat(Sent.complete().with(Field.VOLUME, "142 mL", "cm3").normalised().scan().asSent())
        .containsEntry(Field.VOLUME, "142 mL cm3");
  }

  @Test
  void identifiers_stay_texts_and_lose_only_the_blanks_around_them() {
    Scan scan =
        Sent.complete()
            .with(Field.PATIENT_ID, "\u00a0 0001234567 ")
            .with(Field.EXAM_ID, " 0007\t")
            .normalised()
            .scan();
    assertThat(scan.subject().patientId()).isEqualTo("0001234567");
    assertThat(scan.handling().examId()).isEqualTo("0007");
  }

  @ParameterizedTest
  @ValueSource(strings = {"AV0\u200b123", "AV0\u00a0123", "AV\n123", "AV\u202e123", "AV\ud800"})
  void an_identifier_with_something_unseen_in_it_is_refused(String id) {
    Normalised normalised = Sent.complete().with(Field.PATIENT_ID, id).normalised();
    assertThat(normalised.scan().subject().patientId()).isNull();
    assertThat(normalised.findings())
        .singleElement()
        .satisfies(f -> assertThat(f.code()).isEqualTo("text-unprintable"))
        .satisfies(f -> assertThat(f.rejects()).isTrue())
        .satisfies(f -> assertThat(f.message()).doesNotContain("AV"));
  }

  @Test
  void a_note_may_have_several_lines_and_any_script() {
    Scan scan = Sent.complete().with(Field.NOTE, "prvá\nriadok\u00a0dva").normalised().scan();
    assertThat(scan.handling().note()).isEqualTo("prvá\nriadok\u00a0dva");
  }

  @ParameterizedTest
  @EnumSource(Field.class)
  void only_the_canonical_words_of_a_coded_field_are_taken(Field field) {
    List<String> words = Coded.wordsOf(field);
    if (words.isEmpty()) {
      assertThat(field.kind()).isNotIn(Field.Kind.CODE, Field.Kind.CODES);
      return;
    }
    for (String word : words) {
      assertThat(Sent.complete().without(Field.VOLUME).with(field, word).codes())
          .as("%s=%s", field.key(), word)
          .isEmpty();
      assertThat(
              Sent.complete().without(Field.VOLUME).with(field, word + "x").normalised().findings())
          .as("%s=%sx", field.key(), word)
          .singleElement()
          .satisfies(f -> assertThat(f.code()).isEqualTo("code-unmapped"))
          .satisfies(f -> assertThat(f.rejects()).isTrue())
          .satisfies(f -> assertThat(f.message()).contains(word + "x"));
    }
    assertThat(
            Sent.complete()
                .without(Field.VOLUME)
                .with(field, words.get(0).toUpperCase(java.util.Locale.ROOT))
                .codes())
        .containsExactly("code-unmapped");
  }

  @Test
  void a_word_in_place_of_the_value_goes_with_a_reason_for_its_absence() {
    Normalised normalised =
        Sent.complete()
            .with(Field.VOLUME, "---")
            .with(Field.ABSENT_REASON, "not-performed")
            .normalised();
    assertThat(normalised.findings()).isEmpty();
    assertThat(normalised.scan().measurement().volume()).isNull();
    assertThat(normalised.scan().measurement().absent()).isEqualTo(AbsentReason.NOT_PERFORMED);
  }

  /** FHIR R4, Observation invariant obs-6: a reason for absence only without a value. */
  @Test
  void a_value_and_a_reason_for_its_absence_contradict_each_other() {
    Normalised normalised = Sent.complete().with(Field.ABSENT_REASON, "error").normalised();
    assertThat(normalised.findings())
        .extracting(Finding::code)
        .containsExactly("value-and-absent-reason");
    assertThat(normalised.scan().measurement().volume()).isEqualTo(Volume.millilitres(142));
    assertThat(normalised.scan().measurement().absent()).isNull();
  }

  @Test
  void the_key_is_the_device_and_its_exam() {
    assertThat(Sent.complete().normalised().key()).isEqualTo(ScanKey.ofExam("AV-0012", "0007"));
    assertThat(Sent.complete().with(Field.SCAN_NUMBER, "2").normalised().key())
        .isEqualTo(ScanKey.ofScan("AV-0012", "0007", 2));
    assertThat(Sent.complete().with(Field.DEVICE_SERIAL, " AV-0012 ").normalised().key())
        .isEqualTo(ScanKey.ofExam("AV-0012", "0007"));
    assertThat(Sent.complete().by(FORM).normalised().key())
        .isEqualTo(ScanKey.ofExam("AV-0012", "0007"));
  }

  @Test
  void the_key_never_depends_on_the_patient_or_the_value() {
    assertThat(
            Sent.complete()
                .with(Field.PATIENT_ID, "AV000999")
                .with(Field.VOLUME, "1", "L")
                .normalised()
                .key())
        .isEqualTo(Sent.complete().normalised().key());
  }

  @Test
  void without_an_exam_number_the_key_is_the_time_as_sent_and_the_place() {
    assertThat(Sent.complete().without(Field.EXAM_ID).normalised().key())
        .isEqualTo(ScanKey.ofTime("AV-0012", "2026-03-14T09:05:00+01:00", 3));
  }

  @Test
  void a_form_that_names_no_exam_is_known_by_the_key_of_its_post() {
    assertThat(Sent.complete().without(Field.EXAM_ID).by(FORM).normalised().key())
        .isEqualTo(ScanKey.ofForm("bedside", "f-77"));
    assertThat(Sent.nothing().by(FORM).normalised().key())
        .isEqualTo(ScanKey.ofForm("bedside", "f-77"));
  }

  @Test
  void without_a_device_or_an_exam_there_is_no_key() {
    Normalised noDevice = Sent.complete().without(Field.DEVICE_SERIAL).normalised();
    assertThat(noDevice.key()).isNull();
    assertThat(noDevice.findings()).extracting(Finding::code).containsExactly("device-missing");
    Normalised noExam =
        Sent.complete().without(Field.EXAM_ID).without(Field.MEASURED_AT).normalised();
    assertThat(noExam.key()).isNull();
    assertThat(noExam.findings()).extracting(Finding::code).containsExactly("exam-missing");
  }

  @Test
  void half_an_identity_is_none() {
    Normalised normalised = Sent.complete().with(Field.SCAN_NUMBER, "two").normalised();
    assertThat(normalised.key()).isNull();
    assertThat(normalised.findings()).allMatch(Finding::rejects).hasSize(1);
  }

  @Test
  void nothing_that_is_sent_beside_the_purpose_makes_a_result_post_void() {
    long seed = new Random().nextLong();
    Random random = new Random(seed);
    for (int i = 0; i < 5_000; i++) {
      Map<Field, FieldValue> values = Junk.fields(random);
      values.remove(Field.PURPOSE);
      Scan scan = new Normaliser().normalise(new Fields(values), FORM).scan();
      assertThat(scan.measurement().purpose()).as("seed %d", seed).isEqualTo(Purpose.UNSPECIFIED);
    }
  }

  @Test
  void junk_in_any_field_is_a_finding_with_words_and_never_an_exception() {
    long seed = new Random().nextLong();
    Random random = new Random(seed);
    for (int i = 0; i < 20_000; i++) {
      Fields fields = new Fields(Junk.fields(random));
      Normalised normalised = new Normaliser().normalise(fields, Sent.FROM_A_FILE);
      assertThat(normalised.findings())
          .as("seed %d", seed)
          .allSatisfy(f -> assertThat(f.message()).isNotBlank())
          .allSatisfy(f -> assertThat(f.next()).isNotBlank());
      Scan.Measurement measurement = normalised.scan().measurement();
      assertHeld(
          seed,
          fields,
          normalised,
          Field.VOLUME,
          measurement.volume() == null && measurement.absent() == null);
      assertHeld(seed, fields, normalised, Field.MEASURED_AT, measurement.measuredAt() == null);
      assertHeld(
          seed,
          fields,
          normalised,
          Field.PATIENT_ID,
          normalised.scan().subject().patientId() == null);
      assertThat(normalised.key() == null).as("seed %d", seed).isEqualTo(keyRefused(normalised));
    }
  }

  /** What was sent and is decisive is understood, or holds the entry. */
  private static void assertHeld(
      long seed, Fields fields, Normalised normalised, Field field, boolean lost) {
    FieldValue value = fields.get(field);
    if (lost && value != null && !Texts.stripped(value.text()).isEmpty()) {
      assertThat(normalised.findings())
          .as("seed %d: %s", seed, field.key())
          .anyMatch(f -> f.rejects() && (f.field() == field || f.field() == Field.ABSENT_REASON));
    }
  }

  private static boolean keyRefused(Normalised normalised) {
    return normalised.findings().stream()
        .anyMatch(
            f ->
                f.rejects()
                    && (f.field() == Field.DEVICE_SERIAL
                        || f.field() == Field.EXAM_ID
                        || f.field() == Field.SCAN_NUMBER));
  }

  @Test
  void no_message_holds_anything_of_the_patient_even_in_the_wrong_column() {
    long seed = new Random().nextLong();
    Random random = new Random(seed);
    List<String> marked = List.of("ZQPATIENTNO7", "Zqname Zqfamily", "1897-01-13");
    for (int i = 0; i < 5_000; i++) {
      Map<Field, FieldValue> values = Junk.fields(random);
      values.put(Field.PATIENT_ID, FieldValue.amended(marked.get(0), Reading.CANONICAL));
      values.put(Field.PATIENT_NAME, FieldValue.amended(marked.get(1), Reading.CANONICAL));
      values.put(Field.BIRTH_DATE, FieldValue.amended(marked.get(2) + "x", Reading.CANONICAL));
      Field[] all = Field.values();
      String stray = marked.get(random.nextInt(2));
      values.put(
          all[random.nextInt(all.length)],
          FieldValue.amended(
              " " + stray + (random.nextBoolean() ? "\u200b" : ""), Reading.CANONICAL));
      List<Finding> findings =
          new Normaliser().normalise(new Fields(values), Sent.FROM_A_FILE).findings();
      assertThat(findings)
          .as("seed %d", seed)
          .allSatisfy(
              f ->
                  assertThat(f.message() + f.next())
                      .doesNotContain("ZQPATIENTNO7", "Zqname", "1897-01-13"));
    }
  }

  @Test
  void the_same_fields_give_the_same_result() {
    long seed = new Random().nextLong();
    Random random = new Random(seed);
    Normaliser normaliser = new Normaliser();
    for (int i = 0; i < 1_000; i++) {
      Fields fields = new Fields(new EnumMap<>(Junk.fields(random)));
      assertThat(normaliser.normalise(fields, FORM))
          .as("seed %d", seed)
          .isEqualTo(normaliser.normalise(fields, FORM));
    }
  }
}
