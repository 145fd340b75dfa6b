// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.history;

/**
 * One result as its sender means it.
 *
 * @param fate what has to become of it
 * @param device the scanner's serial number
 * @param exam the scanner's number of the exam; with the device it says which result this is
 * @param rank orders the versions of one result as the sender does, by revision or by status
 * @param patient the patient's number, as sent
 * @param millilitres the volume, as sent
 */
public record Meant(
    Fate fate, String device, String exam, int rank, String patient, int millilitres) {

  /** What has to become of a result. */
  public enum Fate {
    /** It, or a newer version of it, has to stand at the server. */
    ARRIVES,
    /** Something is wrong with it: it must be visible to people, and never at the server. */
    HELD
  }

  public String result() {
    return device + "/" + exam;
  }
}
