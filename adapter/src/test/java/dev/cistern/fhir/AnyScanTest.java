// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.fhir.BundleBuilder.Mode;
import dev.cistern.scan.AbsentReason;
import dev.cistern.scan.Aim;
import dev.cistern.scan.Answer;
import dev.cistern.scan.Comparator;
import dev.cistern.scan.Confounder;
import dev.cistern.scan.ExamSetting;
import dev.cistern.scan.Field;
import dev.cistern.scan.Flag;
import dev.cistern.scan.Position;
import dev.cistern.scan.Purpose;
import dev.cistern.scan.Scan;
import dev.cistern.scan.ScanKey;
import dev.cistern.scan.Sex;
import dev.cistern.scan.Status;
import dev.cistern.scan.Volume;
import dev.cistern.testing.FhirRules;
import java.math.BigDecimal;
import java.time.Instant;
import java.time.LocalDate;
import java.time.OffsetDateTime;
import java.time.ZoneOffset;
import java.util.EnumMap;
import java.util.EnumSet;
import java.util.List;
import java.util.Map;
import java.util.Random;
import java.util.Set;
import java.util.function.Supplier;
import java.util.stream.LongStream;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Observation;
import org.jspecify.annotations.Nullable;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.MethodSource;

/** What holds for every scan that the checks let through. A failure names its seed. */
class AnyScanTest {
  private static final ResourceBuilder RESOURCES = new ResourceBuilder(Examples.SETTINGS);

  static LongStream seeds() {
    return LongStream.range(0, 300);
  }

  static LongStream fewSeeds() {
    return LongStream.range(0, 40);
  }

  @ParameterizedTest
  @MethodSource("seeds")
  void a_residual_is_one_exactly_where_the_void_is_asserted(long seed) {
    Release release = new AnyScan(seed).release();

    String json = FhirJson.encode(RESOURCES.observation(release));

    boolean asserted = release.scan().measurement().purpose() == Purpose.POST_VOID;
    assertThat(json.contains("98856-8")).as("seed %d", seed).isEqualTo(asserted);
    assertThat(json.contains("bladder-volume-post-void")).as("seed %d", seed).isEqualTo(asserted);
    assertThat(json.contains("109135")).as("seed %d", seed).isEqualTo(asserted);
  }

  @ParameterizedTest
  @MethodSource("seeds")
  void there_is_a_value_or_a_reason_and_never_both(long seed) {
    Observation observation = RESOURCES.observation(new AnyScan(seed).release());

    assertThat(observation.hasValue())
        .as("seed %d", seed)
        .isNotEqualTo(observation.hasDataAbsentReason());
  }

  @ParameterizedTest
  @MethodSource("seeds")
  void a_kept_bundle_reads_back_as_it_was_built(long seed) {
    Mode mode = seed % 2 == 0 ? Mode.PUT : Mode.CREATE_ONCE;
    Write write = mode == Mode.PUT ? new Write.Put(null) : new Write.CreateOnce();
    Packed packed =
        new BundleBuilder(RESOURCES, mode)
            .transaction(
                List.of(new Outgoing(new AnyScan(seed).release(), write)), KnownDevices.NONE);

    String json = FhirJson.encode(packed.bundle());
    Bundle again = FhirJson.parse(Bundle.class, json);

    assertThat(FhirJson.encode(again)).as("seed %d", seed).isEqualTo(json);
  }

  @ParameterizedTest
  @MethodSource("seeds")
  void a_bundle_is_written_byte_for_byte_as_the_parser_writes_it(long seed) {
    Mode mode = seed % 2 == 0 ? Mode.PUT : Mode.CREATE_ONCE;
    Write write =
        mode == Mode.CREATE_ONCE
            ? new Write.CreateOnce()
            : new Write.Put(seed % 3 == 0 ? "4" : null);
    Bundle bundle =
        new BundleBuilder(RESOURCES, mode)
            .transaction(
                List.of(new Outgoing(new AnyScan(seed).release(), write)), KnownDevices.NONE)
            .bundle();

    assertThat(ResourceWriter.write(bundle))
        .as("seed %d", seed)
        .isEqualTo(ResourceWriterTest.parsersOwn(bundle));
  }

  @ParameterizedTest
  @MethodSource("seeds")
  void a_result_read_back_does_not_differ(long seed) {
    Observation observation = RESOURCES.observation(new AnyScan(seed).release());

    Observation again = FhirJson.parse(Observation.class, FhirJson.encode(observation));

    assertThat(Differences.between(observation, again)).as("seed %d", seed).isEmpty();
  }

  @ParameterizedTest
  @MethodSource("seeds")
  void name_birth_date_and_sex_are_compared_and_never_written(long seed) {
    Release release = new AnyScan(seed).release();

    assertThat(
            FhirJson.encode(RESOURCES.observation(release))
                + FhirJson.encode(RESOURCES.provenance(release, "Observation/1")))
        .as("seed %d", seed)
        .doesNotContain("Markedname", "1958-07-23", "female");
  }

  @ParameterizedTest
  @MethodSource("fewSeeds")
  void it_is_valid_under_the_profile(long seed) {
    assertThat(FhirRules.broken(RESOURCES.observation(new AnyScan(seed).release())))
        .as("seed %d", seed)
        .isEmpty();
  }

  /** Makes scans out of every value of every part, given or not. */
  private static final class AnyScan {
    private final Random random;

    AnyScan(long seed) {
      this.random = new Random(seed);
    }

    Release release() {
      Scan scan = scan();
      return new Release(
          scan,
          ScanKey.ofExam("AV-" + random.nextInt(100), Integer.toString(random.nextInt(10_000))),
          "elm-ward",
          "elm-ward-export@1",
          "alder-vale@1",
          "0".repeat(64),
          Instant.ofEpochMilli(1_773_475_500_000L + random.nextInt()),
          random.nextBoolean()
              ? new PatientLink.Resolved("Patient/17")
              : new PatientLink.Logical(Examples.PATIENT_SYSTEM, "TST000123"),
          List.of());
    }

    private Scan scan() {
      Status status = any(Status.class);
      Volume volume = maybe(this::volume);
      AbsentReason absent = volume == null ? any(AbsentReason.class) : null;
      boolean timeless = status == Status.CANCELLED || status == Status.ENTERED_IN_ERROR;
      Map<Field, String> asSent = new EnumMap<>(Field.class);
      if (volume != null && random.nextBoolean()) {
        asSent.put(Field.VOLUME, volume.millilitres() + " ml");
      }
      return new Scan(
          new Scan.Subject(
              "TST000123",
              null,
              "Markedname, Oriel",
              LocalDate.of(1958, 7, 23),
              Sex.FEMALE,
              maybe(() -> "V2026-0009"),
              maybe(() -> dev.cistern.scan.IdEntry.TYPED)),
          new Scan.Measurement(
              timeless ? maybe(this::time) : time(),
              volume,
              absent,
              any(Purpose.class),
              status,
              some(Flag.class)),
          new Scan.VoidContext(maybe(this::time), maybe(() -> number(1)), maybe(this::volume)),
          new Scan.Exam(
              maybe(() -> any(ExamSetting.class)),
              maybe(() -> any(Answer.class)),
              maybe(() -> number(1)),
              maybe(() -> number(2)),
              maybe(() -> any(Position.class)),
              maybe(() -> any(Aim.class)),
              maybe(() -> any(Answer.class)),
              List.copyOf(some(Confounder.class))),
          new Scan.Axes(maybe(() -> number(1)), maybe(() -> number(1)), maybe(() -> number(1))),
          new Scan.Device(maybe(() -> "AV-0012"), maybe(() -> "bench scanner")),
          new Scan.Handling(
              maybe(() -> "0007"),
              maybe(() -> random.nextInt(9)),
              maybe(() -> any(Answer.class)),
              maybe(() -> "N4471"),
              maybe(() -> "Elm ward"),
              maybe(() -> random.nextInt(9)),
              maybe(() -> "second attempt, \"quoted\" & <odd> ümläut")),
          asSent);
    }

    private Volume volume() {
      Volume exact = Volume.millilitres(number(random.nextInt(4)));
      return random.nextInt(4) == 0 ? exact.beyond(any(Comparator.class)) : exact;
    }

    private BigDecimal number(int digits) {
      return BigDecimal.valueOf(random.nextInt(2_000_000), digits + 2);
    }

    private OffsetDateTime time() {
      return OffsetDateTime.ofInstant(
          Instant.ofEpochMilli(1_773_475_500_000L + random.nextInt()),
          ZoneOffset.ofTotalSeconds((random.nextInt(141) - 70) * 900));
    }

    private <T> @Nullable T maybe(Supplier<T> value) {
      return random.nextInt(3) == 0 ? null : value.get();
    }

    private <E extends Enum<E>> E any(Class<E> type) {
      E[] all = type.getEnumConstants();
      return all[random.nextInt(all.length)];
    }

    private <E extends Enum<E>> Set<E> some(Class<E> type) {
      Set<E> chosen = EnumSet.noneOf(type);
      for (E each : type.getEnumConstants()) {
        if (random.nextInt(3) == 0) {
          chosen.add(each);
        }
      }
      return chosen;
    }
  }
}
