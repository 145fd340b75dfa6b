// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import java.util.Arrays;
import org.jspecify.annotations.Nullable;
import org.xml.sax.Locator;
import org.xml.sax.SAXParseException;

/** Where each line of a text begins, to turn a line and column into a position. */
final class LineStarts {
  private final int[] starts;

  private LineStarts(int[] starts) {
    this.starts = starts;
  }

  /** As XML counts lines: {@code \n}, {@code \r\n} and {@code \r} end one. */
  static LineStarts of(String text) {
    int[] starts = new int[16];
    int count = 1;
    for (int i = 0; i < text.length(); i++) {
      char c = text.charAt(i);
      boolean end =
          c == '\n' || (c == '\r' && (i + 1 == text.length() || text.charAt(i + 1) != '\n'));
      if (end) {
        starts = count == starts.length ? Arrays.copyOf(starts, count * 2) : starts;
        starts[count++] = i + 1;
      }
    }
    return new LineStarts(Arrays.copyOf(starts, count));
  }

  /** Where the parser is; -1 where it does not say. */
  int position(@Nullable Locator locator) {
    return locator == null ? -1 : position(locator.getLineNumber(), locator.getColumnNumber());
  }

  int position(SAXParseException e) {
    return position(e.getLineNumber(), e.getColumnNumber());
  }

  private int position(int line, int column) {
    return line < 1 || line > starts.length || column < 1 ? -1 : starts[line - 1] + column - 1;
  }

  /** The line of a position, from 1. */
  int line(int position) {
    int found = Arrays.binarySearch(starts, position);
    return found >= 0 ? found + 1 : -found - 1;
  }
}
