// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.load;

import dev.cistern.crash.history.Meant;
import dev.cistern.crash.history.Meant.Fate;
import java.util.ArrayList;
import java.util.List;
import java.util.Random;

/** Versions of results, each handed over once or twice, in any order. */
final class Versions {
  private static final int UNDER_WAY = 12;
  private static final int EACH = 3;

  private final Random random;
  private final String device;
  private final boolean moves;
  private final List<Meant> open = new ArrayList<>();
  private int exams;

  /**
   * @param moves whether a correction may name another patient
   */
  Versions(Random random, String device, boolean moves) {
    this.random = random;
    this.device = device;
    this.moves = moves;
  }

  /** The next version of any result. */
  Meant next() {
    while (open.size() < UNDER_WAY) {
      exams++;
      String patient = People.any(random);
      String later = moves && random.nextInt(4) == 0 ? People.another(patient) : patient;
      int volume = 1 + random.nextInt(800);
      for (int rank = 0; rank < EACH; rank++) {
        String whose = rank == 0 ? patient : later;
        open.add(
            new Meant(Fate.ARRIVES, device, "%05d".formatted(exams), rank, whose, volume + rank));
      }
    }
    Meant next = open.get(random.nextInt(open.size()));
    if (random.nextInt(6) > 0) {
      open.remove(next); // else it comes again
    }
    return next;
  }
}
