// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bench;

import java.io.IOException;
import java.io.Writer;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.LocalDateTime;
import java.time.format.DateTimeFormatter;
import java.util.Locale;
import java.util.SplittableRandom;

/**
 * Results of a fleet of scanners, the same for the same seed: day files in the format of the Elm
 * ward. One row in two hundred has no unit, and has to be held.
 */
final class Rows {
  static final int PATIENTS = 2_000;

  private static final int HELD_EACH = 200;
  private static final String HEADER =
      "PatNo;Date;Time;Vol;Unit;Kind;LastVoid;Voided;Set;Serial;ExamNo;User\n";
  private static final DateTimeFormatter DATE = DateTimeFormatter.ofPattern("dd.MM.yyyy");
  private static final DateTimeFormatter TIME = DateTimeFormatter.ofPattern("HH:mm:ss");
  private static final DateTimeFormatter MINUTE = DateTimeFormatter.ofPattern("dd.MM.yyyy HH:mm");

  private final int devices;
  private final LocalDateTime last;
  private final SplittableRandom random;

  /**
   * @param last when the newest result was measured; the others reach back from there, each device
   *     a scan every half minute
   */
  Rows(long seed, int devices, LocalDateTime last) {
    this.devices = devices;
    this.last = last;
    this.random = new SplittableRandom(seed);
  }

  /** Writes rows {@code from} to {@code to} of {@code all}; returns how many have to be held. */
  int write(Path file, int from, int to, int all) throws IOException {
    int held = 0;
    try (Writer out = Files.newBufferedWriter(file, StandardCharsets.UTF_8)) {
      out.write(HEADER);
      for (int i = from; i < to; i++) {
        boolean holds = i % HELD_EACH == HELD_EACH - 1;
        held += holds ? 1 : 0;
        out.write(row(i, all, holds));
      }
    }
    return held;
  }

  private String row(int index, int all, boolean holds) {
    int exam = index / devices;
    int exams = all / devices + 1;
    LocalDateTime measured = last.minusSeconds(30L * (exams - exam));
    boolean afterVoid = random.nextInt(3) > 0;
    int volume = random.nextInt(20, 600);
    return number(random.nextInt(PATIENTS))
        + ";"
        + DATE.format(measured)
        + ";"
        + TIME.format(measured)
        + ";"
        + volume
        + ";"
        + (holds ? "" : "mL")
        + ";"
        + (afterVoid ? "PV" : "PRE")
        + ";"
        + (afterVoid ? MINUTE.format(measured.minusMinutes(random.nextInt(3, 12))) : "")
        + ";"
        + (afterVoid ? random.nextInt(80, 400) : "")
        + ";"
        + (random.nextBoolean() ? "F" : "M")
        + String.format(
            Locale.ROOT, ";AV-%04d;%07d;N%04d\n", index % devices, exam + 1, index % 97);
  }

  /** The number of one of the patients, from a range that is never issued. */
  static String number(int patient) {
    return String.format(Locale.ROOT, "999%07d", patient);
  }
}
