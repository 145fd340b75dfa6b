// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.fhir.Outgoing;
import dev.cistern.fhir.PatientLink;
import dev.cistern.fhir.Release;
import dev.cistern.fhir.Write;
import dev.cistern.ledger.Entry;
import org.jspecify.annotations.Nullable;

/** A claimed entry with what is to be written for it. */
record Parcel(Entry entry, Release release, Write write) {

  Outgoing outgoing() {
    return new Outgoing(release, write);
  }

  /** Whether the server itself looks for the patient. */
  boolean patientFoundByServer() {
    return release.patient() instanceof PatientLink.Conditional;
  }

  /** The version that a correction replaces; null where it is none. */
  @Nullable String ifMatch() {
    if (write instanceof Write.Update update) {
      return update.ifMatch();
    }
    return write instanceof Write.Put put ? put.ifMatch() : null;
  }

  /** Never shows what it holds. */
  @Override
  public String toString() {
    return "Parcel[" + entry.id() + "]";
  }
}
