// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.normalise;

import static dev.cistern.normalise.NormaliseReason.VALUE_AND_ABSENT_REASON;

import dev.cistern.scan.AbsentReason;
import dev.cistern.scan.Aim;
import dev.cistern.scan.Answer;
import dev.cistern.scan.Arrival;
import dev.cistern.scan.Coded;
import dev.cistern.scan.Confounder;
import dev.cistern.scan.ExamSetting;
import dev.cistern.scan.Field;
import dev.cistern.scan.FieldValue;
import dev.cistern.scan.Fields;
import dev.cistern.scan.Flag;
import dev.cistern.scan.IdEntry;
import dev.cistern.scan.Normalised;
import dev.cistern.scan.Position;
import dev.cistern.scan.Purpose;
import dev.cistern.scan.Scan;
import dev.cistern.scan.Sex;
import dev.cistern.scan.Status;
import dev.cistern.scan.Volume;
import java.math.BigDecimal;
import java.time.OffsetDateTime;
import java.util.EnumMap;
import java.util.List;
import java.util.Map;
import java.util.Set;
import org.jspecify.annotations.Nullable;

/**
 * Fields to scan. Holds nothing, so that one serves every thread; never throws, whatever a field
 * says.
 *
 * <p>A result without a purpose is {@code unspecified}, one without a status {@code final}; nothing
 * else is filled in. The purpose is what the sender says: no time of void, no other field, makes a
 * post-void result of one that is not called so.
 */
public final class Normaliser {
  private static final CodeText<Sex> SEX = new CodeText<>(Sex.class);
  private static final CodeText<IdEntry> ID_ENTRY = new CodeText<>(IdEntry.class);
  private static final CodeText<AbsentReason> ABSENT = new CodeText<>(AbsentReason.class);
  private static final CodeText<Purpose> PURPOSE = new CodeText<>(Purpose.class);
  private static final CodeText<Status> STATUS = new CodeText<>(Status.class);
  private static final CodeText<Flag> FLAG = new CodeText<>(Flag.class);
  private static final CodeText<ExamSetting> SETTING = new CodeText<>(ExamSetting.class);
  private static final CodeText<Answer> ANSWER = new CodeText<>(Answer.class);
  private static final CodeText<Position> POSITION = new CodeText<>(Position.class);
  private static final CodeText<Aim> AIM = new CodeText<>(Aim.class);
  private static final CodeText<Confounder> CONFOUNDER = new CodeText<>(Confounder.class);

  /**
   * The scan as far as it was understood, its key, and a finding for everything that was not
   * understood.
   */
  public Normalised normalise(Fields fields, Arrival arrival) {
    Entry entry = new Entry(fields, new Report(fields));
    Scan scan = entry.scan();
    Identity identity = new Identity(fields, scan, arrival, entry.report());
    return new Normalised(scan, identity.key(), entry.report().findings());
  }

  /** One entry on its way. */
  private record Entry(Fields fields, Report report) {

    Scan scan() {
      return new Scan(
          subject(), measurement(), voiding(), exam(), axes(), device(), handling(), asSent());
    }

    private Scan.Subject subject() {
      FieldValue birth = given(Field.BIRTH_DATE);
      return new Scan.Subject(
          text(Field.PATIENT_ID),
          text(Field.PATIENT_ID_SYSTEM),
          text(Field.PATIENT_NAME),
          birth == null ? null : new TimeText(Field.BIRTH_DATE, birth, report).date(),
          code(SEX, Field.SEX),
          text(Field.ENCOUNTER_ID),
          code(ID_ENTRY, Field.PATIENT_ID_ENTRY));
    }

    private Scan.Measurement measurement() {
      AbsentReason absent = code(ABSENT, Field.ABSENT_REASON);
      Volume volume = absent == null ? volume(Field.VOLUME) : despite(absent);
      Purpose purpose = code(PURPOSE, Field.PURPOSE);
      Status status = code(STATUS, Field.STATUS);
      return new Scan.Measurement(
          time(Field.MEASURED_AT),
          volume,
          volume == null ? absent : null,
          purpose == null ? Purpose.UNSPECIFIED : purpose,
          status == null ? Status.FINAL : status,
          Set.copyOf(codes(FLAG, Field.FLAGS)));
    }

    /** A word in the place of the value is what a reason for its absence explains; a number not. */
    private @Nullable Volume despite(AbsentReason absent) {
      FieldValue value = fields.get(Field.VOLUME);
      if (value == null || value.text().chars().noneMatch(Character::isDigit)) {
        return null;
      }
      report.refuse(
          VALUE_AND_ABSENT_REASON,
          Field.VOLUME,
          value.text(),
          "given although the value is said to be absent (" + absent.code() + ").");
      return volume(Field.VOLUME);
    }

    private Scan.VoidContext voiding() {
      return new Scan.VoidContext(
          time(Field.VOIDED_AT),
          number(Field.MINUTES_SINCE_VOID, Quantity.DURATION),
          volume(Field.VOIDED_VOLUME));
    }

    private Scan.Exam exam() {
      return new Scan.Exam(
          code(SETTING, Field.EXAM_SETTING),
          code(ANSWER, Field.HYSTERECTOMY),
          number(Field.BODY_HEIGHT, Quantity.LENGTH),
          number(Field.BODY_WEIGHT, Quantity.MASS),
          code(POSITION, Field.POSITION),
          code(AIM, Field.AIM),
          code(ANSWER, Field.PUBIC_SHADOW),
          codes(CONFOUNDER, Field.CONFOUNDERS));
    }

    private Scan.Axes axes() {
      return new Scan.Axes(
          number(Field.BLADDER_LENGTH, Quantity.LENGTH),
          number(Field.BLADDER_WIDTH, Quantity.LENGTH),
          number(Field.BLADDER_HEIGHT, Quantity.LENGTH));
    }

    private Scan.Device device() {
      return new Scan.Device(text(Field.DEVICE_SERIAL), text(Field.DEVICE_MODEL));
    }

    private Scan.Handling handling() {
      return new Scan.Handling(
          text(Field.EXAM_ID),
          count(Field.SCAN_NUMBER),
          code(ANSWER, Field.ACCEPTED),
          text(Field.OPERATOR_ID),
          text(Field.LOCATION),
          count(Field.REVISION),
          text(Field.NOTE));
    }

    private Map<Field, String> asSent() {
      EnumMap<Field, String> sent = new EnumMap<>(Field.class);
      fields
          .values()
          .forEach(
              (field, value) -> {
                sent.put(field, withUnit(value));
              });
      return sent;
    }

    /** The unit stands behind the number already where the sender wrote it there. */
    private static String withUnit(FieldValue value) {
      String unit = value.unit();
      return unit == null || unit.isBlank() || value.sent().stripTrailing().endsWith(unit)
          ? value.sent()
          : value.sent() + " " + unit;
    }

    private @Nullable FieldValue given(Field field) {
      FieldValue value = fields.get(field);
      return value == null || value.text().isBlank() ? null : value;
    }

    private @Nullable String text(Field field) {
      FieldValue value = given(field);
      return value == null ? null : PlainText.read(field, value.text(), report);
    }

    private @Nullable Integer count(Field field) {
      FieldValue value = given(field);
      return value == null ? null : PlainText.count(field, value.text(), report);
    }

    private @Nullable OffsetDateTime time(Field field) {
      FieldValue value = given(field);
      return value == null ? null : new TimeText(field, value, report).time();
    }

    private @Nullable Volume volume(Field field) {
      FieldValue value = given(field);
      return value == null
          ? null
          : new QuantityText(field, value, Quantity.VOLUME, report).volume();
    }

    private @Nullable BigDecimal number(Field field, Quantity quantity) {
      FieldValue value = given(field);
      return value == null ? null : new QuantityText(field, value, quantity, report).number();
    }

    private <E extends Enum<E> & Coded> @Nullable E code(CodeText<E> codes, Field field) {
      FieldValue value = given(field);
      return value == null ? null : codes.one(field, value.text(), report);
    }

    private <E extends Enum<E> & Coded> List<E> codes(CodeText<E> codes, Field field) {
      FieldValue value = given(field);
      return value == null ? List.of() : codes.several(field, value.text(), report);
    }
  }
}
