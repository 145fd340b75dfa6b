// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

/**
 * One record of an XML document.
 *
 * @param path where it stands, as an XPath
 */
record XmlRow(XmlRecords records, int index, String path) implements Row {
  @Override
  public Found find(String source) {
    return records.find(index, source);
  }

  @Override
  public String origin(String source) {
    return source.startsWith("/") ? source : path + "/" + source;
  }

  /** Never shows the record: it is a patient's. */
  @Override
  public String toString() {
    return "XmlRow[" + path + "]";
  }
}
