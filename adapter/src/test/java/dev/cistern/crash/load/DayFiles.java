// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.load;

import dev.cistern.crash.history.Meant;
import dev.cistern.crash.history.Meant.Fate;
import java.util.ArrayList;
import java.util.List;
import java.util.Random;

/**
 * Day files with semicolons. Some lines lack their unit or name a patient whom nobody knows, some
 * come twice, and now and then a whole file comes again.
 */
final class DayFiles implements Batch.Writer {
  private static final String HEADER =
      "PatNo;Date;Time;Vol;Unit;Kind;LastVoid;Voided;Set;Serial;ExamNo;User\n";
  private static final int ROWS = 8;

  private record Row(String line, Meant meant) {}

  private final Random random;
  private final String device;
  private final List<Row> earlier = new ArrayList<>();
  private Batch last = new Batch(new byte[0], List.of());
  private int exams;

  DayFiles(Random random, String device) {
    this.random = random;
    this.device = device;
  }

  @Override
  public Batch next() {
    if (random.nextInt(9) == 0 && !last.meant().isEmpty()) {
      return last;
    }
    StringBuilder text = new StringBuilder(HEADER);
    List<Meant> meant = new ArrayList<>();
    for (int i = 0; i < ROWS; i++) {
      Row row =
          random.nextInt(8) == 0 && !earlier.isEmpty()
              ? earlier.get(random.nextInt(earlier.size()))
              : row();
      text.append(row.line());
      meant.add(row.meant());
    }
    last = Batch.of(text, meant);
    return last;
  }

  private Row row() {
    String exam = "%06d".formatted(++exams);
    int volume = 1 + random.nextInt(900);
    String patient = People.any(random);
    String unit = "mL";
    Fate fate = Fate.HELD;
    switch (random.nextInt(12)) {
      case 0 -> unit = "";
      case 1 -> patient = People.NOBODY;
      case 2 -> patient = People.TWINS;
      default -> fate = Fate.ARRIVES;
    }
    String line =
        "%s;14.03.2026;09:05:00;%d;%s;PV;14.03.2026 08:58;250;F;%s;%s;N4471\n"
            .formatted(patient, volume, unit, device, exam);
    Row row = new Row(line, new Meant(fate, device, exam, 0, patient, volume));
    if (fate == Fate.ARRIVES) {
      earlier.add(row);
    }
    return row;
  }
}
