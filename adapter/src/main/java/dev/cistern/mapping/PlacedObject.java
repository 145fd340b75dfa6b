// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import com.fasterxml.jackson.databind.node.JsonNodeFactory;
import com.fasterxml.jackson.databind.node.ObjectNode;

/** A JSON object that knows which characters of its document it is. */
final class PlacedObject extends ObjectNode {
  private static final long serialVersionUID = 1L;

  private final int line;
  private final int start;
  private int end;

  PlacedObject(int line, int start) {
    super(JsonNodeFactory.instance);
    this.line = line;
    this.start = start;
  }

  void endsAt(int position) {
    end = position;
  }

  int line() {
    return line;
  }

  int start() {
    return start;
  }

  int end() {
    return end;
  }

  @Override
  public boolean equals(Object other) {
    return this == other;
  }

  @Override
  public int hashCode() {
    return System.identityHashCode(this);
  }
}
