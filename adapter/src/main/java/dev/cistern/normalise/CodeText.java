// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.normalise;

import static dev.cistern.normalise.NormaliseReason.CODE_UNMAPPED;

import dev.cistern.scan.Coded;
import dev.cistern.scan.Field;
import java.util.ArrayList;
import java.util.Arrays;
import java.util.List;
import java.util.Map;
import java.util.StringTokenizer;
import java.util.function.Function;
import java.util.stream.Collectors;
import org.jspecify.annotations.Nullable;

/** Reads the canonical words of one set; mapping tables have already translated local codes. */
final class CodeText<E extends Enum<E> & Coded> {
  /** Words never hold these, and senders part lists by them. */
  private static final String BETWEEN_WORDS = " \t\r\n,;|";

  private final Map<String, E> byWord;
  private final String words;

  CodeText(Class<E> type) {
    this.byWord =
        Arrays.stream(type.getEnumConstants())
            .collect(Collectors.toMap(Coded::code, Function.identity()));
    this.words = String.join(", ", Coded.words(type));
  }

  @Nullable E one(Field field, String text, Report report) {
    String word = Texts.trimmed(text);
    E code = byWord.get(word);
    if (code == null) {
      report.refuse(CODE_UNMAPPED, field, word, "none of " + words + ".");
    }
    return code;
  }

  /** Each word once, in the order given. */
  List<E> several(Field field, String text, Report report) {
    List<E> codes = new ArrayList<>();
    StringTokenizer words = new StringTokenizer(text, BETWEEN_WORDS);
    while (words.hasMoreTokens()) {
      E code = one(field, words.nextToken(), report);
      if (code != null && !codes.contains(code)) {
        codes.add(code);
      }
    }
    return codes;
  }
}
