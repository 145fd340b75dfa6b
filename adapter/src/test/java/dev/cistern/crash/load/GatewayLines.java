// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.load;

import dev.cistern.crash.history.Meant;
import java.util.ArrayList;
import java.util.List;
import java.util.Random;

/** One JSON document a line, with revisions out of order and corrections of the patient. */
final class GatewayLines implements Batch.Writer {
  private final Random random;
  private final Versions versions;

  GatewayLines(Random random, String device) {
    this.random = random;
    this.versions = new Versions(random, device, true);
  }

  @Override
  public Batch next() {
    StringBuilder text = new StringBuilder();
    List<Meant> meant = new ArrayList<>();
    for (int i = 1 + random.nextInt(5); i > 0; i--) {
      Meant each = versions.next();
      meant.add(each);
      text.append(line(each));
    }
    return Batch.of(text, meant);
  }

  static String line(Meant each) {
    return ("{\"patientId\":\"%s\",\"patientName\":\"%s\",\"measuredAt\":\"2026-03-14T09:05:00Z\","
            + "\"volume\":%d,\"unit\":\"mL\",\"purpose\":\"unspecified\","
            + "\"deviceSerial\":\"%s\",\"examId\":\"%s\",\"revision\":%d%s}\n")
        .formatted(
            each.patient(),
            People.NAME,
            each.millilitres(),
            each.device(),
            each.exam(),
            each.rank() + 1,
            each.rank() == 0 ? "" : ",\"status\":\"corrected\"");
  }
}
