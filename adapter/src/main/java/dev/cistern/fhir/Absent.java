// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import dev.cistern.scan.AbsentReason;
import org.hl7.fhir.r4.model.CodeableConcept;
import org.hl7.fhir.r4.model.Coding;
import org.hl7.fhir.r4.model.codesystems.DataAbsentReason;

/** Why there is no value, in the words of FHIR's data-absent-reason. */
final class Absent {
  private Absent() {}

  static CodeableConcept because(AbsentReason reason) {
    DataAbsentReason word = DataAbsentReason.fromCode(reason.code());
    return new CodeableConcept(new Coding(word.getSystem(), word.toCode(), word.getDisplay()));
  }
}
