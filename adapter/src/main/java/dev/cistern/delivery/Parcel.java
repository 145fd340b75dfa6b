// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.fhir.Outgoing;
import dev.cistern.fhir.PatientLink;
import dev.cistern.fhir.Release;
import dev.cistern.fhir.Write;
import dev.cistern.fhir.WrongPatient;
import dev.cistern.ledger.Entry;
import dev.cistern.scan.Scan;
import java.util.List;
import org.jspecify.annotations.Nullable;

/**
 * A claimed entry with what is to be written for it.
 *
 * @param moves how often the result has changed its patient once this is written
 * @param move what becomes of the version that another patient has; null where there is none
 * @param last the version that this ledger wrote last; null where it wrote none
 */
record Parcel(Entry entry, Outgoing result, int moves, @Nullable Move move, @Nullable Entry last) {

  /**
   * @param wrong the entry whose result is another patient's
   * @param withdrawal of what stands with that patient; null where it is withdrawn already
   */
  record Move(Entry wrong, @Nullable Outgoing withdrawal) {}

  Release release() {
    return result.release();
  }

  Write write() {
    return result.write();
  }

  /** All that is written, in this order: in one transaction, whatever is halved. */
  List<Outgoing> outgoing() {
    Outgoing withdrawal = withdrawal();
    return withdrawal == null ? List.of(result) : new WrongPatient(withdrawal, result).outgoing();
  }

  /** The same, written otherwise or elsewhere. */
  Parcel as(Outgoing other, int after) {
    return new Parcel(entry, other, after, move, last);
  }

  @Nullable Outgoing withdrawal() {
    return move == null ? null : move.withdrawal();
  }

  /** What is written where it is not the entry's own scan; null where it is. */
  @Nullable Scan written() {
    Scan written = release().scan();
    return written.equals(entry.scan()) ? null : written;
  }

  /** Whether the server itself looks for the patient. */
  boolean patientFoundByServer() {
    return release().patient() instanceof PatientLink.Conditional;
  }

  /** The version that a correction replaces; null where it is none. */
  @Nullable String ifMatch() {
    return write().replaces();
  }

  /** Never shows what it holds. */
  @Override
  public String toString() {
    return "Parcel[" + entry.id() + "]";
  }
}
