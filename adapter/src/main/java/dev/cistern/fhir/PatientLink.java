// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

/** How an Observation says whose it is. */
public sealed interface PatientLink {

  /** The Patient was looked up: {@code Patient/17}. */
  record Resolved(String reference) implements PatientLink {
    @Override
    public String toString() {
      return "Resolved[…]";
    }
  }

  /**
   * The server finds the Patient inside the transaction, and refuses it unless exactly one fits.
   */
  record Conditional(String system, String value) implements PatientLink {
    @Override
    public String toString() {
      return "Conditional[…]";
    }
  }

  /** Nobody finds the Patient: the Observation only names the number. */
  record Logical(String system, String value) implements PatientLink {
    @Override
    public String toString() {
      return "Logical[…]";
    }
  }
}
