// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import dev.cistern.scan.AbsentReason;
import dev.cistern.scan.Aim;
import dev.cistern.scan.Answer;
import dev.cistern.scan.Comparator;
import dev.cistern.scan.Confounder;
import dev.cistern.scan.ExamSetting;
import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Flag;
import dev.cistern.scan.Position;
import dev.cistern.scan.Purpose;
import dev.cistern.scan.Scan;
import dev.cistern.scan.ScanKey;
import dev.cistern.scan.Sex;
import dev.cistern.scan.Status;
import dev.cistern.scan.Volume;
import java.math.BigDecimal;
import java.time.Instant;
import java.time.LocalDate;
import java.time.OffsetDateTime;
import java.util.EnumMap;
import java.util.EnumSet;
import java.util.List;
import java.util.Map;
import java.util.Set;
import org.jspecify.annotations.Nullable;

/** Releases of the invented hospital group Alder Vale, one change away from each other. */
public final class Examples {
  public static final String PATIENT_SYSTEM = "urn:oid:2.999.1.1";
  public static final FhirSettings SETTINGS =
      FhirSettings.shipped("alder-vale-1", "0.1.0", PATIENT_SYSTEM);
  public static final Instant ACCEPTED = Instant.parse("2026-03-14T08:06:30.250Z");

  public String serial = "AV-0012";
  public String examId = "0007";
  public @Nullable String patientId = "TST000123";
  public @Nullable OffsetDateTime measuredAt = OffsetDateTime.parse("2026-03-14T09:05:00+01:00");
  public @Nullable Volume volume = Volume.millilitres(142);
  public @Nullable AbsentReason absent;
  public Purpose purpose = Purpose.POST_VOID;
  public Status status = Status.FINAL;
  public Set<Flag> flags = EnumSet.noneOf(Flag.class);
  public @Nullable Position position = Position.SUPINE;
  public @Nullable Answer hysterectomy = Answer.NO;
  public @Nullable Aim aim = Aim.CENTRED;
  public List<Confounder> confounders = List.of();
  public @Nullable Integer scanNumber = 2;
  public @Nullable Answer accepted = Answer.YES;
  public @Nullable Integer revision;
  public @Nullable String note;
  public @Nullable BigDecimal minutes = new BigDecimal("7");
  public @Nullable Volume voidedVolume = Volume.millilitres(250);
  public String volumeAsSent = "142 ml";
  public PatientLink patient = new PatientLink.Logical(PATIENT_SYSTEM, "TST000123");
  public List<Finding> findings = List.of();
  public Instant acceptedAt = ACCEPTED;

  /** A residual after a void, with its whole context. */
  public static Examples residual() {
    return new Examples();
  }

  /** The same number, but nobody said whether the patient had voided. */
  public static Examples unspecified() {
    Examples example = new Examples();
    example.purpose = Purpose.UNSPECIFIED;
    return example;
  }

  /** More than the scanner can measure. */
  public static Examples beyondRange() {
    Examples example = new Examples();
    example.volume = Volume.millilitres(999).beyond(Comparator.GREATER);
    example.volumeAsSent = ">999 ml";
    return example;
  }

  /** The scanner gave up. */
  public static Examples failed() {
    Examples example = new Examples();
    example.volume = null;
    example.absent = AbsentReason.ERROR;
    return example;
  }

  public Scan scan() {
    Map<Field, String> asSent = new EnumMap<>(Field.class);
    if (volume != null) {
      asSent.put(Field.VOLUME, volumeAsSent);
    }
    return new Scan(
        new Scan.Subject(
            patientId,
            null,
            "Testpatient, Oriel",
            LocalDate.of(1958, 7, 23),
            Sex.FEMALE,
            "V2026-0009",
            null),
        new Scan.Measurement(measuredAt, volume, absent, purpose, status, flags),
        new Scan.VoidContext(
            OffsetDateTime.parse("2026-03-14T08:58:00+01:00"), minutes, voidedVolume),
        new Scan.Exam(
            ExamSetting.UTERUS_PRESENT,
            hysterectomy,
            new BigDecimal("164"),
            new BigDecimal("61.5"),
            position,
            aim,
            Answer.NO,
            confounders),
        new Scan.Axes(new BigDecimal("8.2"), new BigDecimal("5.6"), new BigDecimal("4.1")),
        new Scan.Device(serial, "bench scanner"),
        new Scan.Handling(examId, scanNumber, accepted, "N4471", "Elm ward", revision, note),
        asSent);
  }

  public Release release() {
    return new Release(
        scan(),
        ScanKey.ofExam(serial, examId),
        "elm-ward",
        "elm-ward-export@3f9a1c",
        "alder-vale@2026-02",
        "5feceb66ffc86f38d952786c6d696c79c2dbc239dd4e91b46729d73a27fb57e9",
        acceptedAt,
        patient,
        findings);
  }
}
