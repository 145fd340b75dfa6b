// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.normalise;

import java.time.LocalDate;
import java.time.LocalTime;
import java.time.ZoneId;
import org.jspecify.annotations.Nullable;

/**
 * What a text says about a time, before any zone of ours is applied.
 *
 * @param date null where the day or the month is missing
 * @param time null where the hour or the minute is missing
 * @param zone an offset or a zone that the text itself names
 */
record Written(@Nullable LocalDate date, @Nullable LocalTime time, @Nullable ZoneId zone) {}
