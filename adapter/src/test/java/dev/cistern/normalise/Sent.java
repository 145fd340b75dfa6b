// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.normalise;

import dev.cistern.scan.Arrival;
import dev.cistern.scan.Field;
import dev.cistern.scan.FieldValue;
import dev.cistern.scan.Fields;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Normalised;
import dev.cistern.scan.Reading;
import java.time.Instant;
import java.time.ZoneId;
import java.time.format.DateTimeFormatter;
import java.util.EnumMap;
import java.util.List;
import java.util.Map;

/** What a sender might have sent, ready to be changed in one place. */
final class Sent {
  static final Arrival FROM_A_FILE =
      new Arrival("elm-ward", Instant.parse("2026-03-14T09:00:00Z"), 3, null);

  private final Map<Field, FieldValue> values = new EnumMap<>(Field.class);
  private Reading reading = Reading.CANONICAL;
  private Arrival arrival = FROM_A_FILE;

  static Sent nothing() {
    return new Sent();
  }

  /** Everything that a result cannot do without. */
  static Sent complete() {
    return nothing()
        .with(Field.PATIENT_ID, "AV000123")
        .with(Field.MEASURED_AT, "2026-03-14T09:05:00+01:00")
        .with(Field.VOLUME, "142", "mL")
        .with(Field.DEVICE_SERIAL, "AV-0012")
        .with(Field.EXAM_ID, "0007");
  }

  static Reading reading(char decimal, String zone, String pattern) {
    return new Reading(
        decimal,
        zone.isEmpty() ? null : ZoneId.of(zone),
        pattern.isEmpty() ? null : pattern,
        pattern.isEmpty() ? null : DateTimeFormatter.ofPattern(pattern),
        Map.of());
  }

  static Reading aliases(Map<String, String> aliases) {
    return new Reading('.', null, null, null, aliases);
  }

  /** How the fields that are added from now on are to be read. */
  Sent read(Reading how) {
    reading = how;
    return this;
  }

  Sent by(Arrival how) {
    arrival = how;
    return this;
  }

  Sent with(Field field, String text) {
    values.put(field, new FieldValue(text, text, null, reading, "test"));
    return this;
  }

  Sent with(Field field, String text, String unit) {
    values.put(field, new FieldValue(text, text, unit, reading, "test"));
    return this;
  }

  Sent translated(Field field, String sent, String canonical) {
    values.put(field, new FieldValue(canonical, sent, null, reading, "test"));
    return this;
  }

  Sent without(Field field) {
    values.remove(field);
    return this;
  }

  Fields fields() {
    return new Fields(values);
  }

  Normalised normalised() {
    return new Normaliser().normalise(fields(), arrival);
  }

  List<String> codes() {
    return normalised().findings().stream().map(Finding::code).toList();
  }
}
