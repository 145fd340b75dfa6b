// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

/**
 * How much is read at most before something is refused, so that no input can exhaust the memory.
 *
 * @param recordBytes bytes of one delimited record, one HL7 v2 segment, one form post or one line
 *     of JSON
 * @param documentBytes bytes of one JSON or XML document, or one HL7 v2 message
 * @param depth how deep JSON and XML may nest
 * @param fields columns of a delimited record, fields of a form
 * @param values values in one JSON or XML document
 */
public record Limits(int recordBytes, int documentBytes, int depth, int fields, int values) {

  public Limits {
    if (recordBytes < 1 || documentBytes < 1 || depth < 1 || fields < 1 || values < 1) {
      throw new IllegalArgumentException("every limit is at least 1");
    }
  }

  /** 64 KiB a record, 16 MiB a document, 64 levels, 512 columns, half a million values. */
  public static Limits standard() {
    return new Limits(64 << 10, 16 << 20, 64, 512, 500_000);
  }
}
