// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import java.util.List;

/**
 * What became of several entries at once.
 *
 * @param tried whether nothing was written
 * @param more whether there may be more of them than were taken in one go
 */
public record BatchOutcome(boolean tried, List<One> ones, boolean more) {
  public BatchOutcome {
    ones = List.copyOf(ones);
  }

  /**
   * One of them.
   *
   * @param well whether nothing rejects it any more
   * @param words its state or why nothing was done
   */
  public record One(long entry, boolean well, String words) {}

  public long well() {
    return ones.stream().filter(One::well).count();
  }
}
