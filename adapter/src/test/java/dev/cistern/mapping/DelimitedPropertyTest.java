// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import dev.cistern.scan.RawEntry;
import java.nio.charset.Charset;
import java.nio.charset.StandardCharsets;
import java.util.ArrayList;
import java.util.Arrays;
import java.util.HashSet;
import java.util.List;
import java.util.Map;
import java.util.Random;
import java.util.Set;
import org.junit.jupiter.api.Test;

/** Properties over seeded random input; the seed is in the description of each assertion. */
class DelimitedPropertyTest {
  private static final String[] TEXTS = {
    "",
    "142",
    ">999",
    "mL",
    "a;b",
    "say \"hi\"",
    "ä€😀",
    " x ",
    "PV",
    "0007",
    "\"",
    "'",
    "a,b",
    "14.03.2026"
  };
  private static final List<Charset> CHARSETS =
      List.of(
          StandardCharsets.UTF_8,
          StandardCharsets.UTF_16LE,
          StandardCharsets.UTF_16BE,
          Charset.forName("GB18030"));

  private static Mapping mapping(String input) {
    return Mapping.parse(
        "m.yaml",
        "mapping: m\ninput: { format: delimited, delimiter: \";\""
            + input
            + " }\nfields: { examId: { from: A }, volume: { from: B, unit: { from: C } },"
            + " note: { from: D } }");
  }

  /** Writes as RFC 4180 says: quoted where it must be, and sometimes where it need not be. */
  private static String written(String text, Random random) {
    boolean must = text.contains(";") || text.contains("\"") || text.contains("\n");
    return must || random.nextInt(6) == 0 ? "\"" + text.replace("\"", "\"\"") + "\"" : text;
  }

  private static String value(Random random, boolean lines) {
    String text = TEXTS[random.nextInt(TEXTS.length)];
    return lines && random.nextInt(5) == 0 ? text + "\n" + text : text;
  }

  private static void assertHolds(RawEntry entry, Field field, String value, String seed) {
    if (value.isBlank()) {
      assertThat(entry.fields().values()).as(seed).doesNotContainKey(field);
    } else {
      assertThat(Decoded.text(entry, field)).as(seed).isEqualTo(value.strip());
    }
  }

  @Test
  void what_is_written_is_read_back_in_every_charset_and_with_every_line_end() {
    for (long seed = 0; seed < 400; seed++) {
      Random random = new Random(seed);
      boolean lines = random.nextBoolean();
      Charset charset = CHARSETS.get(random.nextInt(CHARSETS.size()));
      String end = List.of("\n", "\r\n", "\r").get(random.nextInt(3));
      StringBuilder file = new StringBuilder("A;B;C;D").append(end);
      List<List<String>> rows = new ArrayList<>();
      for (int i = random.nextInt(8); i >= 0; i--) {
        List<String> row = new ArrayList<>(List.of("X" + i));
        List<String> cells = new ArrayList<>(List.of("X" + i));
        for (int c = 1; c < 4; c++) {
          row.add(value(random, lines));
          cells.add(written(row.get(c), random));
        }
        rows.add(row);
        file.append(String.join(";", cells)).append(end);
      }
      String seeded = "seed " + seed;
      byte[] bytes = file.toString().getBytes(charset);
      Mapping mapping = mapping(", multiline: " + lines + ", charset: " + charset);
      List<RawEntry> entries = Decoded.all(mapping, bytes);
      assertThat(entries).as(seeded).hasSameSizeAs(rows);
      long at = "A;B;C;D".concat(end).getBytes(charset).length;
      for (int i = 0; i < rows.size(); i++) {
        RawEntry entry = entries.get(i);
        assertThat(entry.findings()).as(seeded).isEmpty();
        assertHolds(entry, Field.EXAM_ID, rows.get(i).get(0), seeded);
        assertHolds(entry, Field.VOLUME, rows.get(i).get(1), seeded);
        assertHolds(entry, Field.NOTE, rows.get(i).get(3), seeded);
        assertThat(entry.place().offset()).as(seeded).isEqualTo(at);
        assertThat(entry.place().ordinal()).as(seeded).isEqualTo(i + 1);
        at += entry.place().length();
      }
      assertThat(at).as(seeded).isEqualTo(bytes.length);
      Decoded.assertReadsAgain(mapping, bytes, null);
    }
  }

  @Test
  void a_file_cut_at_any_byte_gives_no_value_that_the_whole_file_has_not_or_says_so() {
    for (long seed = 0; seed < 60; seed++) {
      Random random = new Random(seed);
      boolean lines = random.nextBoolean();
      StringBuilder file = new StringBuilder("A;B;C;D\n");
      for (int i = 0; i < 3; i++) {
        file.append("X").append(1000 + random.nextInt(9000));
        for (int c = 1; c < 4; c++) {
          file.append(';').append(written(value(random, lines), random));
        }
        file.append('\n');
      }
      byte[] bytes = file.toString().getBytes(StandardCharsets.UTF_8);
      Mapping mapping = mapping(", multiline: " + lines);
      List<RawEntry> whole = Decoded.all(mapping, bytes);
      Set<Object> known = new HashSet<>();
      whole.forEach(e -> known.add(values(e)));
      for (int cut = 0; cut < bytes.length; cut++) {
        byte[] part = Arrays.copyOf(bytes, cut);
        List<RawEntry> entries = Decoded.all(mapping, part);
        String seeded = "seed " + seed + ", cut at " + cut;
        assertThat(entries).as(seeded).isNotEmpty();
        for (RawEntry entry : entries) {
          if (entry.findings().isEmpty()) {
            assertThat(known).as(seeded).contains(values(entry));
          }
        }
        // Whatever ended before the cut is read as in the whole file.
        int complete = 0;
        while (complete < whole.size() && end(whole.get(complete)) <= cut) {
          complete++;
        }
        if (complete > 0) {
          assertThat(entries.subList(0, complete)).as(seeded).isEqualTo(whole.subList(0, complete));
        }
        Decoded.assertReadsAgain(mapping, part, null);
      }
    }
  }

  private static long end(RawEntry entry) {
    return entry.place().offset() + entry.place().length();
  }

  private static Object values(RawEntry entry) {
    return Map.of(
        "texts", Decoded.texts(entry), "unit", String.valueOf(Decoded.unit(entry, Field.VOLUME)));
  }

  @Test
  void a_value_that_could_be_cut_short_and_matters_is_always_rejected() {
    byte[] bytes = "D;A;C;B\nn;7;mL;1420\n".getBytes(StandardCharsets.UTF_8);
    for (int cut = "D;A;C;B\nn;7;mL;".length(); cut < bytes.length; cut++) {
      RawEntry entry = Decoded.all(mapping(""), Arrays.copyOf(bytes, cut)).get(0);
      assertThat(Finding.anyRejects(entry.findings())).as("cut at %d", cut).isTrue();
    }
  }

  @Test
  void junk_never_throws_and_every_line_that_holds_something_is_one_entry() {
    for (long seed = 0; seed < 1500; seed++) {
      Random random = new Random(seed);
      byte[] junk = new byte[random.nextInt(200)];
      random.nextBytes(junk);
      for (int i = 0; i < junk.length; i++) {
        // Enough of what matters, and no zero, which would make the whole submission binary.
        junk[i] =
            random.nextInt(3) == 0
                ? (byte) ";\"\n\r ".charAt(random.nextInt(5))
                : junk[i] == 0 ? 1 : junk[i];
      }
      byte[] head = "A;B;C;D\n".getBytes(StandardCharsets.UTF_8);
      byte[] bytes = Arrays.copyOf(head, head.length + junk.length);
      System.arraycopy(junk, 0, bytes, head.length, junk.length);
      String seeded = "seed " + seed;
      List<RawEntry> entries = Decoded.all(mapping(""), bytes);
      long lines =
          Arrays.stream(new String(junk, StandardCharsets.ISO_8859_1).split("[\r\n]", -1))
              .filter(l -> !l.replace(";", "").isBlank())
              .count();
      assertThat(entries).as(seeded).hasSize((int) Math.max(1, lines));
      for (int i = 0; i < entries.size(); i++) {
        RawEntry entry = entries.get(i);
        assertThat(entry.place().ordinal()).as(seeded).isEqualTo(i + 1);
        if (entry.findings().isEmpty()) {
          String line =
              new String(
                  bytes,
                  (int) entry.place().offset(),
                  entry.place().length(),
                  StandardCharsets.UTF_8);
          assertThat(line).as(seeded).contains(";").doesNotContain("\uFFFD");
          assertThat(line.chars().filter(c -> c == ';').count()).as(seeded).isGreaterThan(2);
        }
      }
      Decoded.assertReadsAgain(mapping(""), bytes, null);
      Decoded.assertReadsAgain(mapping(", multiline: true"), bytes, null);
    }
  }

  @Test
  void pure_junk_never_throws() {
    for (long seed = 0; seed < 1500; seed++) {
      byte[] junk = new byte[new Random(seed).nextInt(300)];
      new Random(seed).nextBytes(junk);
      assertThat(Decoded.all(mapping(""), junk)).as("seed %d", seed).isNotEmpty();
    }
  }
}
