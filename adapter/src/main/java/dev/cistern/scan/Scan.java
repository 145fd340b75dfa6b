// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

import java.math.BigDecimal;
import java.time.LocalDate;
import java.time.OffsetDateTime;
import java.util.Collections;
import java.util.EnumMap;
import java.util.List;
import java.util.Map;
import java.util.Set;
import org.jspecify.annotations.Nullable;

/**
 * One bladder volume measurement in canonical form. Parts that were not given, or could not be
 * understood, are null; the checks say which of them an entry cannot do without.
 *
 * @param asSent the text of each field exactly as the sender wrote it (a volume with its unit),
 *     kept because a conversion can be wrong
 */
public record Scan(
    Subject subject,
    Measurement measurement,
    VoidContext voiding,
    Exam exam,
    Axes axes,
    Device device,
    Handling handling,
    Map<Field, String> asSent) {

  public Scan {
    EnumMap<Field, String> copy = new EnumMap<>(Field.class);
    copy.putAll(asSent);
    asSent = Collections.unmodifiableMap(copy);
  }

  /**
   * Whose bladder. The name and birth date are only ever compared, never used to find anybody.
   *
   * @param entry how the number got into the entry; null where the sender does not say
   */
  public record Subject(
      @Nullable String patientId,
      @Nullable String patientIdSystem,
      @Nullable String name,
      @Nullable LocalDate birthDate,
      @Nullable Sex sex,
      @Nullable String encounterId,
      @Nullable IdEntry entry) {

    /** Never shows whose. */
    @Override
    public String toString() {
      return "Subject[…]";
    }
  }

  /**
   * The value.
   *
   * @param measuredAt the device's time with its offset
   * @param absent why there is no volume; null where there is one
   */
  public record Measurement(
      @Nullable OffsetDateTime measuredAt,
      @Nullable Volume volume,
      @Nullable AbsentReason absent,
      Purpose purpose,
      Status status,
      Set<Flag> flags) {
    public Measurement {
      flags = Set.copyOf(flags);
    }
  }

  /** What is known about the void before the scan. Minutes are as stated by the sender. */
  public record VoidContext(
      @Nullable OffsetDateTime voidedAt,
      @Nullable BigDecimal minutesSinceVoid,
      @Nullable Volume voidedVolume) {}

  /** How the scan was done. */
  public record Exam(
      @Nullable ExamSetting setting,
      @Nullable Answer hysterectomy,
      @Nullable BigDecimal bodyHeightCm,
      @Nullable BigDecimal bodyWeightKg,
      @Nullable Position position,
      @Nullable Aim aim,
      @Nullable Answer pubicShadow,
      List<Confounder> confounders) {
    public Exam {
      confounders = List.copyOf(confounders);
    }
  }

  /** The bladder's axes in centimetres, as the device gives them. */
  public record Axes(
      @Nullable BigDecimal lengthCm, @Nullable BigDecimal widthCm, @Nullable BigDecimal heightCm) {
    public boolean complete() {
      return lengthCm != null && widthCm != null && heightCm != null;
    }
  }

  /** Which scanner. */
  public record Device(@Nullable String serial, @Nullable String model) {}

  /**
   * Which exam, by whom, where.
   *
   * @param revision the sender's number of this version of the result; a higher one wins
   */
  public record Handling(
      @Nullable String examId,
      @Nullable Integer scanNumber,
      @Nullable Answer accepted,
      @Nullable String operatorId,
      @Nullable String location,
      @Nullable Integer revision,
      @Nullable String note) {

    /** Never shows the note. */
    @Override
    public String toString() {
      return "Handling[…]";
    }
  }

  /** The same result, withdrawn. */
  public Scan withdrawn() {
    Measurement inError =
        new Measurement(
            measurement.measuredAt(),
            measurement.volume(),
            measurement.absent(),
            measurement.purpose(),
            Status.ENTERED_IN_ERROR,
            measurement.flags());
    return new Scan(subject, inError, voiding, exam, axes, device, handling, asSent);
  }

  /** Never shows what it holds: it is about a patient. */
  @Override
  public String toString() {
    return "Scan[…]";
  }

  /**
   * Whether the sign before the volume is the sender's own. It is not where the volume was sent
   * bare and recorded as "more than" for standing at the end of the scanner's measuring range.
   */
  public boolean comparatorSent() {
    Volume volume = measurement.volume();
    String sent = asSent.getOrDefault(Field.VOLUME, "");
    return volume != null
        && !volume.isExact()
        && (sent.isEmpty() || sent.chars().anyMatch(c -> "<>≤≥".indexOf(c) >= 0));
  }
}
