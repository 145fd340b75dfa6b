// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.normalise;

import dev.cistern.scan.Coded;
import dev.cistern.scan.Field;
import dev.cistern.scan.FieldValue;
import dev.cistern.scan.Reading;
import java.time.ZoneId;
import java.time.format.DateTimeFormatter;
import java.util.EnumMap;
import java.util.List;
import java.util.Map;
import java.util.Random;

/** Fields as the worst of senders would fill them: some good, some nearly good, some noise. */
final class Junk {
  private static final List<String> NEARLY =
      List.of(
          "142",
          "1,234",
          "1.234",
          "> 999",
          "142 mL",
          "0",
          "-1",
          "1e9",
          "NaN",
          "---",
          "N/A",
          "",
          "   ",
          "２",
          "1\u00a0000",
          "2026-03-14T09:05:00Z",
          "20260314",
          "2026-02-30T00:00",
          "yes",
          "post-void",
          "9".repeat(400),
          "<script>",
          "'; DROP",
          "\u0000",
          "\ud800",
          "2026-10-25T02:30",
          "00000000000000",
          "+",
          ".",
          ",",
          ">",
          "\u202e142",
          "2026-03-14T09:05:00+99:99",
          "0007");
  private static final List<String> UNITS =
      List.of(
          "mL", "L", "ML", "oz", "cm", "kg", "min", "", " ", "1618", "{ml}", "\u0000", "[foz_us]");
  private static final List<Reading> READINGS =
      List.of(
          Reading.CANONICAL,
          Reading.canonicalIn(ZoneId.of("Europe/Vienna")),
          new Reading(',', ZoneId.of("Asia/Kathmandu"), null, null, Map.of("ML", "mL", "x", "y")),
          new Reading(
              '.',
              ZoneId.of("America/New_York"),
              "dd.MM.yyyy HH:mm",
              DateTimeFormatter.ofPattern("dd.MM.yyyy HH:mm"),
              Map.of()));

  private Junk() {}

  static Map<Field, FieldValue> fields(Random random) {
    Map<Field, FieldValue> values = new EnumMap<>(Field.class);
    for (Field field : Field.values()) {
      if (random.nextInt(3) > 0) {
        String unit = random.nextBoolean() ? null : pick(UNITS, random);
        String text = text(field, random);
        values.put(field, new FieldValue(text, text, unit, pick(READINGS, random), "junk"));
      }
    }
    return values;
  }

  private static String text(Field field, Random random) {
    List<String> words = Coded.wordsOf(field);
    return switch (random.nextInt(5)) {
      case 0 -> noise(random);
      case 1 -> words.isEmpty() ? "142" : pick(words, random);
      case 2 -> pick(NEARLY, random) + noise(random);
      default -> pick(NEARLY, random);
    };
  }

  private static String noise(Random random) {
    StringBuilder noise = new StringBuilder();
    for (int i = random.nextInt(12); i > 0; i--) {
      int kind = random.nextInt(4);
      noise.appendCodePoint(
          kind == 0
              ? random.nextInt(0x110000)
              : kind == 1 ? '0' + random.nextInt(10) : 0x20 + random.nextInt(0x60));
    }
    return noise.toString();
  }

  private static <T> T pick(List<T> from, Random random) {
    return from.get(random.nextInt(from.size()));
  }
}
