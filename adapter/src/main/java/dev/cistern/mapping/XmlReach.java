// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import java.util.regex.Pattern;

/**
 * How far an XPath expression looks from its record. Each evaluation walks through everything that
 * it might reach, so it is given no more than it needs: otherwise a document with many records
 * would take time that grows with their square.
 *
 * @param up how many levels up the expression starts
 * @param rest the expression from there
 */
record XmlReach(Kind kind, int up, String rest) {
  enum Kind {
    /** Nothing but the record. */
    RECORD,
    /** An element around the record. */
    ANCESTOR,
    /** The same for all records. */
    FIXED,
    /** Anything. */
    ANYWHERE
  }

  private static final Pattern FIXED = Pattern.compile("/(?:[\\w:@./*-]|\\[[^\\]]*\\])*");
  private static final Pattern OUTSIDE =
      Pattern.compile("(?s)/.*|.*(?:\\.\\.|::|id\\(|[(|,\\[=<>+*\\s-]/).*");

  static XmlReach of(String source) {
    if (FIXED.matcher(source).matches()) {
      return new XmlReach(Kind.FIXED, 0, source);
    }
    int up = 0;
    String rest = source;
    while (rest.startsWith("../")) {
      rest = rest.substring(3);
      up++;
    }
    if (OUTSIDE.matcher(rest).matches()) {
      return new XmlReach(Kind.ANYWHERE, 0, source);
    }
    return new XmlReach(up == 0 ? Kind.RECORD : Kind.ANCESTOR, up, rest);
  }
}
