// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import java.time.DateTimeException;
import java.time.Instant;
import java.time.LocalDate;
import java.time.LocalDateTime;
import java.time.OffsetDateTime;
import java.time.ZoneId;
import picocli.CommandLine.ITypeConverter;
import picocli.CommandLine.TypeConversionException;

/**
 * A time as a person types it: a date, a date and time of this machine's zone, or with an offset.
 */
final class InstantText implements ITypeConverter<Instant> {
  @Override
  public Instant convert(String text) {
    ZoneId zone = ZoneId.systemDefault();
    try {
      if (text.length() <= 10) {
        return LocalDate.parse(text).atStartOfDay(zone).toInstant();
      }
      return text.matches(".*(Z|[+-]\\d\\d:\\d\\d)$")
          ? OffsetDateTime.parse(text).toInstant()
          : LocalDateTime.parse(text).atZone(zone).toInstant();
    } catch (DateTimeException e) {
      throw new TypeConversionException(
          "\"" + text + "\" is no time; write 2026-03-14 or 2026-03-14T09:05:00+01:00");
    }
  }
}
