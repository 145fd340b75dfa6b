// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import dev.cistern.scan.Field;
import java.util.Collections;
import java.util.LinkedHashMap;
import java.util.Map;
import org.jspecify.annotations.Nullable;

/**
 * One code table of a mapping, as a ConceptMap carries it.
 *
 * @param mapping the name of the mapping
 * @param table the name of the table in it
 * @param field the first field that uses the table; null where none does
 * @param words local code to canonical word; the code {@code ""} stands for a blank, the word
 *     {@code ""} for "known, and says nothing"
 */
public record LocalCodes(
    String mapping, String table, @Nullable Field field, Map<String, String> words) {
  public LocalCodes {
    words = Collections.unmodifiableMap(new LinkedHashMap<>(words));
  }
}
