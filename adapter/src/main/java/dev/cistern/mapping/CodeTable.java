// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import java.util.Collections;
import java.util.LinkedHashMap;
import java.util.Map;
import org.jspecify.annotations.Nullable;

/**
 * What a sender's codes mean.
 *
 * @param name what the mapping file calls it
 * @param words local code to canonical word, in the order of the file; the code {@code ""} stands
 *     for a blank or missing source, and the word {@code ""} for "known, but says nothing here"
 */
public record CodeTable(String name, Map<String, String> words) {
  public CodeTable {
    words = Collections.unmodifiableMap(new LinkedHashMap<>(words));
  }

  /** The word of a local code; null where the table lacks the code. */
  public @Nullable String word(String local) {
    return words.get(local);
  }
}
