// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.fhir.Outgoing;
import dev.cistern.fhir.PatientLink;
import dev.cistern.fhir.Release;
import dev.cistern.fhir.Write;
import dev.cistern.fhir.WrongPatient;
import dev.cistern.ledger.Entry;
import java.util.List;
import org.jspecify.annotations.Nullable;

/**
 * A claimed entry with what is to be written for it.
 *
 * @param moves how often the result has changed its patient once this is written
 * @param move what becomes of the version that another patient has; null where there is none
 */
record Parcel(Entry entry, Release release, Write write, int moves, @Nullable Move move) {

  /**
   * @param wrong the entry whose result is another patient's
   * @param withdrawal of what stands with that patient; null where it is withdrawn already
   */
  record Move(Entry wrong, @Nullable Outgoing withdrawal) {}

  /** All that is written, in this order: in one transaction, whatever is halved. */
  List<Outgoing> outgoing() {
    Outgoing result = new Outgoing(release, write);
    Outgoing withdrawal = withdrawal();
    return withdrawal == null ? List.of(result) : new WrongPatient(withdrawal, result).outgoing();
  }

  @Nullable Outgoing withdrawal() {
    return move == null ? null : move.withdrawal();
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
