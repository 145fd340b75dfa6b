// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import dev.cistern.scan.CisternException;
import dev.cistern.yaml.Problem;
import dev.cistern.yaml.YamlFile;
import java.util.LinkedHashMap;
import java.util.Map;
import org.jspecify.annotations.Nullable;

/** Puts a row into a code table of a mapping's text, and leaves every other sign as it is. */
public final class TableRowText {
  private TableRowText() {}

  /**
   * @param word what the code means; empty for "known, but says nothing here"
   * @throws CisternException where the text has a problem, has no such table, has the code already,
   *     or writes the table in a way that this does not know
   */
  public static String with(String text, String table, String code, String word) {
    Mapping before = Mapping.parse("mapping.yaml", text);
    CodeTable old = before.codes().get(table);
    if (old == null) {
      throw new CisternException("The mapping has no code table of its own called " + table + ".");
    }
    if (old.word(code) != null) {
      throw new CisternException("The code table " + table + " has this code already.");
    }
    Map<String, String> words = new LinkedHashMap<>(old.words());
    words.put(code, word);
    String changed = inserted(text, table, CodesText.quoted(code) + ": " + CodesText.word(word));
    CodeTable now =
        changed == null ? null : Mapping.parse("mapping.yaml", changed).codes().get(table);
    if (changed == null || now == null || !now.words().equals(words)) {
      throw new CisternException(
          "The table is written in a way that this does not know; add the row by hand.");
    }
    return changed;
  }

  private static @Nullable String inserted(String text, String table, String row) {
    String pointer = YamlFile.child("/codes", table);
    YamlFile file = YamlFile.parse("mapping.yaml", text);
    int at = offset(text, file.atKey(pointer, ""));
    int colon = text.indexOf(':', at + table.length());
    if (colon < 0) {
      return null;
    }
    int brace = firstSign(text, colon + 1);
    if (brace < text.length() && text.charAt(brace) == '{') {
      boolean empty = text.charAt(firstSign(text, brace + 1)) == '}';
      return text.substring(0, brace + 1)
          + " "
          + row
          + (empty ? " " : ",")
          + text.substring(brace + 1);
    }
    Problem first =
        file.atKey(YamlFile.child(pointer, file.tree().at(pointer).fieldNames().next()), "");
    int line = offset(text, first) - (first.column() - 1);
    return text.substring(0, line)
        + " ".repeat(first.column() - 1)
        + row
        + "\n"
        + text.substring(line);
  }

  private static int firstSign(String text, int from) {
    int at = from;
    while (at < text.length() && Character.isWhitespace(text.charAt(at))) {
      at++;
    }
    return at;
  }

  private static int offset(String text, Problem place) {
    int at = 0;
    for (int line = 1; line < place.line(); line++) {
      at = text.indexOf('\n', at) + 1;
    }
    return at + place.column() - 1;
  }
}
