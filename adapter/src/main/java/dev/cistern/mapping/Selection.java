// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import org.jspecify.annotations.Nullable;

/**
 * Which parts of a document are its records.
 *
 * @param path JSON path or XPath; null for the format's own default
 * @param lines whether each line is a JSON document of its own
 * @param namespaces XML prefixes and their names
 * @param segment the HL7 v2 segment that makes a record
 * @param where what that segment must hold: path to accepted texts
 */
record Selection(
    @Nullable String path,
    boolean lines,
    Map<String, String> namespaces,
    String segment,
    Map<String, List<String>> where) {
  Selection {
    namespaces = Map.copyOf(namespaces);
    where = new LinkedHashMap<>(where);
  }
}
