// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import com.fasterxml.jackson.databind.JsonNode;

/** One record of a JSON document. */
record JsonRow(JsonSources sources, String path, JsonNode node) implements Row {
  @Override
  public Found find(String source) {
    return sources.find(node, source);
  }

  @Override
  public String origin(String source) {
    if (source.startsWith("$") || source.startsWith("@")) {
      return path + source.substring(1);
    }
    return source.startsWith("[") ? path + source : path + "." + source;
  }

  /** Never shows the record: it is a patient's. */
  @Override
  public String toString() {
    return "JsonRow[" + path + "]";
  }
}
