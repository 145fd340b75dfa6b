// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import com.fasterxml.jackson.databind.node.DecimalNode;
import java.math.BigDecimal;

/** A JSON number that is still written as the sender wrote it: 142.0 is not 142, nor 1.42e2. */
final class ExactNumber extends DecimalNode {
  private static final long serialVersionUID = 1L;

  private final String text;

  ExactNumber(String text) {
    super(new BigDecimal(text));
    this.text = text;
  }

  @Override
  public String asText() {
    return text;
  }

  @Override
  public boolean equals(Object other) {
    return super.equals(other);
  }

  @Override
  public int hashCode() {
    return text.hashCode();
  }
}
