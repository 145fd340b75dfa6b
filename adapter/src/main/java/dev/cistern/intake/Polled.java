// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.intake;

import java.util.Collection;
import java.util.Map;
import java.util.TreeMap;
import org.jspecify.annotations.Nullable;

/** A source elsewhere, which is looked at again and again. */
public interface Polled {
  String name();

  /** What keeps it from being read; null while nothing does. */
  @Nullable Trouble trouble();

  /** What keeps sources from being read, by their names; without those that can be. */
  static Map<String, Trouble> troubles(Collection<? extends Polled> sources) {
    Map<String, Trouble> troubles = new TreeMap<>();
    for (Polled source : sources) {
      Trouble trouble = source.trouble();
      if (trouble != null) {
        troubles.put(source.name(), trouble);
      }
    }
    return troubles;
  }
}
