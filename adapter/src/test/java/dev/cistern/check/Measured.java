// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import dev.cistern.scan.AbsentReason;
import dev.cistern.scan.Aim;
import dev.cistern.scan.Answer;
import dev.cistern.scan.Arrival;
import dev.cistern.scan.ClockEvidence;
import dev.cistern.scan.Comparator;
import dev.cistern.scan.Confounder;
import dev.cistern.scan.ExamSetting;
import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Flag;
import dev.cistern.scan.IdEntry;
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
import java.util.List;
import java.util.Map;
import java.util.Set;
import org.jspecify.annotations.Nullable;

/** A scan that no check has anything to say about, ready to be changed in one place. */
final class Measured {
  static final OffsetDateTime NINE = OffsetDateTime.parse("2026-03-14T09:00:00+01:00");
  static final Instant ARRIVED = Instant.parse("2026-03-14T08:10:00Z");

  private final Map<Field, String> asSent = new EnumMap<>(Field.class);
  private @Nullable String patientId;
  private @Nullable String patientName;
  private @Nullable IdEntry entry;
  private @Nullable LocalDate birthDate;
  private @Nullable Sex sex;
  private @Nullable OffsetDateTime measuredAt;
  private @Nullable Volume volume;
  private @Nullable AbsentReason absent;
  private Purpose purpose = Purpose.UNSPECIFIED;
  private Status status = Status.FINAL;
  private Set<Flag> flags = Set.of();
  private @Nullable OffsetDateTime voidedAt;
  private @Nullable BigDecimal minutes;
  private @Nullable Volume voidedVolume;
  private @Nullable ExamSetting setting;
  private @Nullable Answer hysterectomy;
  private @Nullable BigDecimal bodyHeight;
  private @Nullable BigDecimal bodyWeight;
  private @Nullable Position position;
  private @Nullable Aim aim;
  private @Nullable Answer pubicShadow;
  private List<Confounder> confounders = List.of();
  private @Nullable BigDecimal length;
  private @Nullable BigDecimal width;
  private @Nullable BigDecimal height;
  private @Nullable String serial;
  private @Nullable String model;
  private @Nullable String examId;
  private @Nullable Answer accepted;
  private @Nullable String location;

  private Policy policy = Policy.shipped();
  private Instant arrived = ARRIVED;
  private Instant now = ARRIVED;
  private ClockEvidence clock = ClockEvidence.NONE;

  static Measured nothing() {
    return new Measured();
  }

  static Measured residual() {
    return nothing()
        .patientId("AV000123")
        .measuredAt(NINE)
        .volume("142")
        .purpose(Purpose.POST_VOID)
        .voidedAt(NINE.minusMinutes(5))
        .voidedVolume("300")
        .setting(ExamSetting.UTERUS_ABSENT)
        .position(Position.SUPINE)
        .device("AV-0012", "bench scanner")
        .examId("0007")
        .sent(Field.OPERATOR_ID, "N12");
  }

  Measured sent(Field field, String text) {
    asSent.put(field, text);
    return this;
  }

  Measured notSent(Field field) {
    asSent.remove(field);
    return this;
  }

  Measured patientId(@Nullable String value) {
    patientId = value;
    return kept(Field.PATIENT_ID, value);
  }

  Measured entered(IdEntry value) {
    entry = value;
    return kept(Field.PATIENT_ID_ENTRY, value.code());
  }

  Measured patientName(String value) {
    patientName = value;
    return kept(Field.PATIENT_NAME, value);
  }

  Measured born(String value) {
    birthDate = LocalDate.parse(value);
    return kept(Field.BIRTH_DATE, value);
  }

  Measured sex(Sex value) {
    sex = value;
    return kept(Field.SEX, value.code());
  }

  Measured measuredAt(@Nullable OffsetDateTime value) {
    measuredAt = value;
    return kept(Field.MEASURED_AT, value);
  }

  Measured volume(String millilitres) {
    return volumeSent(Volume.millilitres(new BigDecimal(millilitres)), millilitres + " mL");
  }

  Measured volume(Comparator comparator, String millilitres) {
    return volumeSent(
        new Volume(new BigDecimal(millilitres), comparator),
        comparator.code() + millilitres + " mL");
  }

  Measured volumeSent(@Nullable Volume value, @Nullable String text) {
    volume = value;
    return kept(Field.VOLUME, text);
  }

  Measured absent(AbsentReason value) {
    absent = value;
    volume = null;
    asSent.remove(Field.VOLUME);
    return kept(Field.ABSENT_REASON, value.code());
  }

  Measured purpose(Purpose value) {
    purpose = value;
    return kept(Field.PURPOSE, value.code());
  }

  Measured status(Status value) {
    status = value;
    return kept(Field.STATUS, value.code());
  }

  Measured flags(Flag... values) {
    flags = Set.of(values);
    return kept(Field.FLAGS, flags);
  }

  Measured voidedAt(@Nullable OffsetDateTime value) {
    voidedAt = value;
    return kept(Field.VOIDED_AT, value);
  }

  Measured minutes(String value) {
    minutes = new BigDecimal(value);
    return kept(Field.MINUTES_SINCE_VOID, value);
  }

  Measured voidedVolume(@Nullable String millilitres) {
    voidedVolume = millilitres == null ? null : Volume.millilitres(new BigDecimal(millilitres));
    return kept(Field.VOIDED_VOLUME, millilitres);
  }

  Measured setting(ExamSetting value) {
    setting = value;
    return kept(Field.EXAM_SETTING, value.code());
  }

  Measured hysterectomy(Answer value) {
    hysterectomy = value;
    return kept(Field.HYSTERECTOMY, value.code());
  }

  Measured body(@Nullable String centimetres, @Nullable String kilograms) {
    bodyHeight = number(centimetres);
    bodyWeight = number(kilograms);
    kept(Field.BODY_HEIGHT, centimetres);
    return kept(Field.BODY_WEIGHT, kilograms);
  }

  Measured position(Position value) {
    position = value;
    return kept(Field.POSITION, value.code());
  }

  Measured aim(Aim value) {
    aim = value;
    return kept(Field.AIM, value.code());
  }

  Measured pubicShadow(Answer value) {
    pubicShadow = value;
    return kept(Field.PUBIC_SHADOW, value.code());
  }

  Measured confounders(Confounder... values) {
    confounders = List.of(values);
    return kept(Field.CONFOUNDERS, confounders);
  }

  Measured axes(@Nullable String l, @Nullable String w, @Nullable String h) {
    length = number(l);
    width = number(w);
    height = number(h);
    kept(Field.BLADDER_LENGTH, l);
    kept(Field.BLADDER_WIDTH, w);
    return kept(Field.BLADDER_HEIGHT, h);
  }

  Measured device(@Nullable String serialNumber, @Nullable String modelName) {
    serial = serialNumber;
    model = modelName;
    kept(Field.DEVICE_SERIAL, serialNumber);
    return kept(Field.DEVICE_MODEL, modelName);
  }

  Measured examId(@Nullable String value) {
    examId = value;
    return kept(Field.EXAM_ID, value);
  }

  Measured accepted(Answer value) {
    accepted = value;
    return kept(Field.ACCEPTED, value.code());
  }

  Measured location(String value) {
    location = value;
    return kept(Field.LOCATION, value);
  }

  Measured under(Policy value) {
    policy = value;
    return this;
  }

  /** Under a site's policy file, of which only the interesting part is given. */
  Measured under(String part) {
    return under(policy(part));
  }

  Measured arrived(Instant value) {
    arrived = value;
    now = value;
    return this;
  }

  Measured now(Instant value) {
    now = value;
    return this;
  }

  static Policy policy(String part) {
    return PolicyFile.knowing(Checks.reasons())
        .parse(
            dev.cistern.yaml.YamlFile.parse(
                "site.yaml",
                "policy: alder-vale\nversion: 3\nauthor: A. Example\ndate: 2026-03-01\n" + part));
  }

  private static @Nullable BigDecimal number(@Nullable String text) {
    return text == null ? null : new BigDecimal(text);
  }

  private Measured kept(Field field, @Nullable Object value) {
    if (value == null) {
      asSent.remove(field);
    } else {
      asSent.put(field, value.toString());
    }
    return this;
  }

  /** Earlier arrivals: the latest hour first, as {@code results} and the least lag in minutes. */
  Measured taught(ClockEvidence evidence) {
    clock = evidence;
    return this;
  }

  Scan scan() {
    return new Scan(
        new Scan.Subject(patientId, null, patientName, birthDate, sex, null, entry),
        new Scan.Measurement(measuredAt, volume, absent, purpose, status, flags),
        new Scan.VoidContext(voidedAt, minutes, voidedVolume),
        new Scan.Exam(
            setting, hysterectomy, bodyHeight, bodyWeight, position, aim, pubicShadow, confounders),
        new Scan.Axes(length, width, height),
        new Scan.Device(serial, model),
        new Scan.Handling(
            examId, null, accepted, asSent.get(Field.OPERATOR_ID), location, null, null),
        asSent);
  }

  List<Finding> findings() {
    return Checks.under(policy)
        .run(
            scan(),
            ScanKey.ofExam("AV-0012", "0007"),
            new Arrival("elm-ward", arrived, 1, null),
            now,
            clock);
  }

  List<String> codes() {
    return findings().stream().map(Finding::code).toList();
  }

  /** The words of the only finding of a code. */
  String message(String code) {
    return findings().stream()
        .filter(f -> f.code().equals(code))
        .map(Finding::message)
        .reduce((a, b) -> a + "\n" + b)
        .orElse("nothing found");
  }
}
