// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.normalise;

import static dev.cistern.normalise.NormaliseReason.DATE_INCOMPLETE;
import static dev.cistern.normalise.NormaliseReason.DATE_UNREADABLE;
import static dev.cistern.normalise.NormaliseReason.TIME_DOES_NOT_EXIST;
import static dev.cistern.normalise.NormaliseReason.TIME_INCOMPLETE;
import static dev.cistern.normalise.NormaliseReason.TIME_OCCURS_TWICE;
import static dev.cistern.normalise.NormaliseReason.TIME_UNREADABLE;
import static dev.cistern.normalise.NormaliseReason.ZONE_MISSING;

import dev.cistern.scan.Field;
import dev.cistern.scan.FieldValue;
import java.time.LocalDate;
import java.time.LocalDateTime;
import java.time.OffsetDateTime;
import java.time.ZoneId;
import java.time.ZoneOffset;
import java.time.format.DateTimeFormatter;
import java.util.List;
import org.jspecify.annotations.Nullable;

/**
 * Reads a time into one with an offset, or a date. An offset in the text wins over the zone of the
 * mapping; where the clocks change, nothing is guessed.
 */
final class TimeText {
  private final Field field;
  private final FieldValue value;
  private final Report report;
  private final String text;

  TimeText(Field field, FieldValue value, Report report) {
    this.field = field;
    this.value = value;
    this.report = report;
    this.text = Texts.trimmed(value.text());
  }

  /** Null where it was refused. */
  @Nullable OffsetDateTime time() {
    Written written = written();
    if (written == null) {
      return refused(TIME_UNREADABLE, "not a time " + expected() + ".");
    } else if (written.date() == null || written.time() == null) {
      return refused(TIME_INCOMPLETE, "the time of day is missing, to the minute.");
    }
    LocalDateTime local = LocalDateTime.of(written.date(), written.time());
    ZoneId zone = written.zone() == null ? value.reading().zone() : written.zone();
    if (zone == null) {
      return refused(ZONE_MISSING, "no offset from UTC, and the mapping names no zone.");
    }
    return zone instanceof ZoneOffset offset
        ? OffsetDateTime.of(local, offset)
        : placed(local, zone);
  }

  private @Nullable OffsetDateTime placed(LocalDateTime local, ZoneId zone) {
    List<ZoneOffset> offsets = zone.getRules().getValidOffsets(local);
    return switch (offsets.size()) {
      case 1 -> OffsetDateTime.of(local, offsets.get(0));
      case 0 ->
          refused(
              TIME_DOES_NOT_EXIST,
              "the clocks in " + zone + " skip this time when they are put forward.");
      default ->
          refused(
              TIME_OCCURS_TWICE,
              "the clocks in "
                  + zone
                  + " show this time twice, first with the offset "
                  + offsets.get(0)
                  + ", then with "
                  + offsets.get(1)
                  + ".");
    };
  }

  /** A date of birth, say; null where it was refused. A time of day behind it is left out. */
  @Nullable LocalDate date() {
    Written written = written();
    if (written == null) {
      report.refuse(DATE_UNREADABLE, field, text, "not a date " + expected() + ".");
      return null;
    } else if (written.date() == null) {
      report.refuse(DATE_INCOMPLETE, field, text, "the month or the day is missing.");
    }
    return written.date();
  }

  private @Nullable Written written() {
    DateTimeFormatter formatter = value.reading().formatter();
    return formatter == null ? StandardTime.read(text) : PatternTime.read(text, formatter);
  }

  private String expected() {
    String pattern = value.reading().pattern();
    return pattern == null ? "as ISO 8601 or HL7 write it" : "of the form " + pattern;
  }

  private @Nullable OffsetDateTime refused(NormaliseReason reason, String sentence) {
    report.refuse(reason, field, text, sentence);
    return null;
  }
}
