// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

import java.util.HexFormat;

/**
 * By what a result is known again: two entries with the same key are the same result. Built from
 * the device and its exam, never from the patient, so that a correction of the patient keeps the
 * key.
 *
 * @param hash 40 lower-case hexadecimal digits: the first 160 bits of a SHA-256 over the parts,
 *     each with its length in front
 */
public record ScanKey(String hash) {

  public ScanKey {
    if (!hash.matches("[0-9a-f]{40}")) {
      throw new IllegalArgumentException("a scan key is 40 hexadecimal digits");
    }
  }

  /** The device's serial number and its number of the exam. */
  public static ScanKey ofExam(String deviceSerial, String examId) {
    return of("exam", deviceSerial, examId);
  }

  /** One of several scans that a device files under the same exam. */
  public static ScanKey ofScan(String deviceSerial, String examId, int scanNumber) {
    return of("scan", deviceSerial, examId, Integer.toString(scanNumber));
  }

  /** Without an exam number: the device's own time, as sent, and the place in the file. */
  public static ScanKey ofTime(String deviceSerial, String measuredAtAsSent, int ordinal) {
    return of("time", deviceSerial, measuredAtAsSent, Integer.toString(ordinal));
  }

  /** A form that names no device exam: the key under which it was posted. */
  public static ScanKey ofForm(String source, String idempotencyKey) {
    return of("form", source, idempotencyKey);
  }

  private static ScanKey of(String... parts) {
    return new ScanKey(HexFormat.of().formatHex(Sha256.ofParts(parts), 0, 20));
  }
}
