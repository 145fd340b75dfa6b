// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

import java.time.ZoneId;
import java.time.format.DateTimeFormatter;
import java.util.Map;
import org.jspecify.annotations.Nullable;

/**
 * How the text of a field is to be read, as its mapping says.
 *
 * @param decimal the decimal separator, {@code .} or {@code ,}
 * @param zone the zone of times that carry no offset; null where the mapping names none
 * @param pattern the pattern of a date or time; null for ISO 8601
 * @param formatter {@code pattern} compiled; null where that is null
 * @param unitAliases what the sender's unit spellings stand for, spelling to UCUM code; only these
 *     and UCUM itself are understood
 */
public record Reading(
    char decimal,
    @Nullable ZoneId zone,
    @Nullable String pattern,
    @Nullable DateTimeFormatter formatter,
    Map<String, String> unitAliases) {

  /** Decimal point, ISO 8601 times with an offset, UCUM units: how a person amends a value. */
  public static final Reading CANONICAL = new Reading('.', null, null, null, Map.of());

  public Reading {
    unitAliases = Map.copyOf(unitAliases);
  }

  /** The canonical way to write, with a zone for times that carry no offset. */
  public static Reading canonicalIn(@Nullable ZoneId zone) {
    return new Reading('.', zone, null, null, Map.of());
  }
}
