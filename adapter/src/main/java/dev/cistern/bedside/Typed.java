// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bedside;

import java.nio.charset.StandardCharsets;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import org.eclipse.jetty.util.MultiMap;
import org.eclipse.jetty.util.UrlEncoded;

/** What was typed: form field to its texts. Never shown in logs. */
record Typed(Map<String, List<String>> values) {
  static final Typed NOTHING = new Typed(Map.of());

  Typed {
    values = Map.copyOf(values);
  }

  /** Reads a URL-encoded form; what cannot be read is nothing typed. */
  static Typed read(byte[] body) {
    return read(new String(body, StandardCharsets.UTF_8));
  }

  static Typed read(String encoded) {
    MultiMap<String> decoded = new MultiMap<>();
    try {
      UrlEncoded.decodeTo(encoded, decoded, StandardCharsets.UTF_8);
    } catch (RuntimeException e) {
      return NOTHING; // the finding says what is wrong with it
    }
    Map<String, List<String>> values = new LinkedHashMap<>();
    decoded.forEach((name, texts) -> values.put(name, List.copyOf(texts)));
    return new Typed(values);
  }

  /** Of these questions only. */
  Typed only(List<Question> questions) {
    Map<String, List<String>> kept = new LinkedHashMap<>();
    questions.stream()
        .filter(question -> values.containsKey(question.name()))
        .forEach(question -> kept.put(question.name(), of(question)));
    return new Typed(kept);
  }

  List<String> of(Question question) {
    return values.getOrDefault(question.name(), List.of());
  }

  String first(Question question) {
    List<String> texts = of(question);
    return texts.isEmpty() ? "" : texts.get(0);
  }

  @Override
  public String toString() {
    return "Typed[" + values.size() + " fields]";
  }
}
