// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.load;

import dev.cistern.crash.history.Meant;
import dev.cistern.crash.history.Meant.Fate;
import java.util.ArrayList;
import java.util.List;
import java.util.Random;

/**
 * What the scanners of a whole fleet send, a few results of one device in each batch. One result in
 * thirty is corrected later.
 */
public final class FleetRecords implements Batch.Writer {
  private static final int MOST = 9;

  private final Random random;
  private final int devices;
  private final List<Meant> corrections = new ArrayList<>();
  private int exams;

  public FleetRecords(Random random, int devices) {
    this.random = random;
    this.devices = devices;
  }

  @Override
  public Batch next() {
    String device = "WG-%04d".formatted(100 + random.nextInt(devices));
    StringBuilder text = new StringBuilder();
    List<Meant> meant = new ArrayList<>();
    for (int i = 1 + random.nextInt(MOST); i > 0; i--) {
      meant.add(
          new Meant(
              Fate.ARRIVES,
              device,
              "%07d".formatted(++exams),
              0,
              People.any(random),
              1 + random.nextInt(800)));
    }
    Meant first = meant.get(0);
    if (random.nextInt(6) == 0) {
      corrections.add(
          new Meant(
              Fate.ARRIVES, device, first.exam(), 1, first.patient(), first.millilitres() + 1));
    }
    if (corrections.size() > 20) {
      meant.add(corrections.remove(random.nextInt(corrections.size())));
    }
    meant.forEach(each -> text.append(GatewayLines.line(each)));
    return Batch.of(text, meant);
  }
}
