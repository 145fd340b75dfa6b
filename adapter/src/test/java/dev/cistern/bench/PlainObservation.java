// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bench;

import java.math.BigDecimal;
import java.time.LocalDateTime;
import java.time.ZoneId;
import java.time.format.DateTimeFormatter;
import org.hl7.fhir.r4.model.InstantType;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Quantity;
import org.hl7.fhir.r4.model.Reference;

/** What a short program makes of a row: no checks, no trail, the patient's id as the number. */
final class PlainObservation {
  private static final DateTimeFormatter WHEN = DateTimeFormatter.ofPattern("dd.MM.yyyy HH:mm:ss");
  private static final ZoneId ZONE = ZoneId.of("Europe/Vienna");
  private static final int UNIT = 4;
  private static final int SERIAL = 9;

  private PlainObservation() {}

  /** Rows without a unit are left out by the plain programs too: all write the same results. */
  static boolean isComplete(String row) {
    return !row.split(";", -1)[UNIT].isEmpty();
  }

  static Observation of(String row) {
    String[] cells = row.split(";", -1);
    Observation observation = new Observation();
    observation.setStatus(Observation.ObservationStatus.FINAL);
    observation
        .getCode()
        .addCoding()
        .setSystem("urn:cistern:bench")
        .setCode("bladder-volume")
        .setDisplay("Bladder volume");
    observation.setSubject(new Reference("Patient/p" + cells[0]));
    observation.setEffective(
        new InstantType(
            java.util.Date.from(
                LocalDateTime.parse(cells[1] + " " + cells[2], WHEN).atZone(ZONE).toInstant())));
    observation.setValue(
        new Quantity()
            .setValue(new BigDecimal(cells[3]))
            .setUnit("mL")
            .setSystem("http://unitsofmeasure.org")
            .setCode("mL"));
    observation.getDevice().setDisplay(cells[SERIAL]);
    return observation;
  }
}
