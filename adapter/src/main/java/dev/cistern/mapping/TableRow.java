// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import java.util.List;

/** One record of delimited text. */
record TableRow(Columns columns, List<String> texts, int line) implements Row {
  @Override
  public Found find(String source) {
    Integer index = columns.index().get(source);
    return index == null || index >= texts.size() ? Found.NOTHING : Found.text(texts.get(index));
  }

  @Override
  public String origin(String source) {
    return "column " + source + ", line " + line;
  }

  /** Never shows the texts: they are a patient's. */
  @Override
  public String toString() {
    return "TableRow[line " + line + "]";
  }
}
