// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

import java.util.Arrays;
import java.util.Map;
import java.util.Optional;
import java.util.function.Function;
import java.util.stream.Collectors;

/**
 * The canonical fields that a mapping can fill. The key is what mapping files, findings, amendments
 * and JSON call the field.
 */
public enum Field {
  PATIENT_ID("patientId", Kind.TEXT),
  PATIENT_ID_SYSTEM("patientIdSystem", Kind.TEXT),
  PATIENT_ID_ENTRY("patientIdEntry", Kind.CODE),
  PATIENT_ID_CHECK("patientIdCheck", Kind.TEXT),
  PATIENT_NAME("patientName", Kind.TEXT),
  BIRTH_DATE("birthDate", Kind.DATE),
  SEX("sex", Kind.CODE),
  ENCOUNTER_ID("encounterId", Kind.TEXT),
  MEASURED_AT("measuredAt", Kind.TIME),
  VOLUME("volume", Kind.VOLUME),
  ABSENT_REASON("absentReason", Kind.CODE),
  PURPOSE("purpose", Kind.CODE),
  VOIDED_AT("voidedAt", Kind.TIME),
  MINUTES_SINCE_VOID("minutesSinceVoid", Kind.MINUTES),
  VOIDED_VOLUME("voidedVolume", Kind.VOLUME),
  EXAM_SETTING("examSetting", Kind.CODE),
  HYSTERECTOMY("hysterectomy", Kind.CODE),
  BODY_HEIGHT("bodyHeight", Kind.LENGTH),
  BODY_WEIGHT("bodyWeight", Kind.MASS),
  POSITION("position", Kind.CODE),
  BLADDER_LENGTH("bladderLength", Kind.LENGTH),
  BLADDER_WIDTH("bladderWidth", Kind.LENGTH),
  BLADDER_HEIGHT("bladderHeight", Kind.LENGTH),
  AIM("aim", Kind.CODE),
  PUBIC_SHADOW("pubicShadow", Kind.CODE),
  CONFOUNDERS("confounders", Kind.CODES),
  DEVICE_SERIAL("deviceSerial", Kind.TEXT),
  DEVICE_MODEL("deviceModel", Kind.TEXT),
  EXAM_ID("examId", Kind.TEXT),
  SCAN_NUMBER("scanNumber", Kind.COUNT),
  ACCEPTED("accepted", Kind.CODE),
  OPERATOR_ID("operatorId", Kind.TEXT),
  LOCATION("location", Kind.TEXT),
  STATUS("status", Kind.CODE),
  REVISION("revision", Kind.COUNT),
  FLAGS("flags", Kind.CODES),
  NOTE("note", Kind.TEXT);

  /** How the text of a field is to be read. */
  public enum Kind {
    TEXT,
    DATE,
    /** A date and time. */
    TIME,
    /** A number with a unit of volume, perhaps with a comparator. */
    VOLUME,
    MINUTES,
    LENGTH,
    MASS,
    /** One canonical word. */
    CODE,
    /** Several canonical words. */
    CODES,
    /** A whole number from 0. */
    COUNT
  }

  private static final Map<String, Field> BY_KEY =
      Arrays.stream(values()).collect(Collectors.toMap(Field::key, Function.identity()));

  private final String key;
  private final Kind kind;
  private final String label;

  Field(String key, Kind kind) {
    this.key = key;
    this.kind = kind;
    this.label =
        key.chars()
            .mapToObj(c -> (Character.isUpperCase(c) ? " " : "") + (char) Character.toLowerCase(c))
            .collect(Collectors.joining());
  }

  public String key() {
    return key;
  }

  /** What sentences call the field: its key in separate words, {@code measured at}. */
  public String label() {
    return label;
  }

  public Kind kind() {
    return kind;
  }

  public static Optional<Field> named(String key) {
    return Optional.ofNullable(BY_KEY.get(key));
  }
}
