// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.history;

/**
 * An Observation as the server holds it in the end.
 *
 * @param patient the number of the patient that it names
 * @param withdrawn whether it is entered in error
 */
public record Seen(
    String id, String device, String exam, String patient, int millilitres, boolean withdrawn) {

  public String result() {
    return device + "/" + exam;
  }
}
