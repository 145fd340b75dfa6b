// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.load;

import dev.cistern.crash.history.Meant;
import java.util.ArrayList;
import java.util.List;
import java.util.Random;

/** HL7 v2 batch files: preliminary, final and corrected results out of order. */
final class MessageBatches implements Batch.Writer {
  private static final String STATUSES = "PFC";

  private final Random random;
  private final Versions versions;
  private int messages;

  MessageBatches(Random random, String device) {
    this.random = random;
    this.versions = new Versions(random, device, false);
  }

  @Override
  public Batch next() {
    StringBuilder text = new StringBuilder("FHS|^~\\&|BVFEED\rBHS|^~\\&|BVFEED\r");
    List<Meant> meant = new ArrayList<>();
    int count = 1 + random.nextInt(4);
    for (int i = 0; i < count; i++) {
      Meant each = versions.next();
      meant.add(each);
      text.append(message(each, "RW%07d".formatted(++messages)));
    }
    return Batch.of(text.append("BTS|" + count + "\rFTS|1\r"), meant);
  }

  static String message(Meant each, String control) {
    char status = STATUSES.charAt(each.rank());
    return String.join(
        "\r",
        "MSH|^~\\&|BVFEED|ROWAN|CISTERN|ALDERVALE|20260314190600+0000||ORU^R01^ORU_R01|"
            + control
            + "|P|2.5.1|||NE|AL||UNICODE UTF-8",
        "PID|1||" + each.patient() + "^^^ALDERVALE&2.999.1.1&ISO^MR||" + People.NAME + "^Maud",
        "PV1|1|I|Rowan^12^B^ALDERVALE",
        "OBR|1||"
            + each.exam()
            + "^BVFEED|25019-1^US Urinary bladder^LN|||20260314190400+0000"
            + "|||||||||||||||20260314190600+0000|||"
            + status,
        "OBX|1|NM|BVOL^Bladder volume^99LOCAL||"
            + each.millilitres()
            + "|mL^milliliter^UCUM|||||"
            + status
            + "|||20260314190400+0000||N4480^Nurse^Bela||"
            + each.device()
            + "^BVFEED",
        "");
  }
}
