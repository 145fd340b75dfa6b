// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.io.IOException;
import java.io.InputStream;
import java.io.UncheckedIOException;
import java.nio.charset.StandardCharsets;
import java.util.Map;
import java.util.concurrent.ConcurrentHashMap;

/** The statements, each in a file of its own under {@code sql/ledger}. */
final class Sql {
  private static final Map<String, String> LOADED = new ConcurrentHashMap<>();

  private Sql() {}

  static String of(String name) {
    return LOADED.computeIfAbsent(name, Sql::load);
  }

  private static String load(String name) {
    String path = "/sql/ledger/" + name + ".sql";
    try (InputStream in = Sql.class.getResourceAsStream(path)) {
      if (in == null) {
        throw new IllegalStateException("the jar lacks the statement " + path);
      }
      return new String(in.readAllBytes(), StandardCharsets.UTF_8);
    } catch (IOException e) {
      throw new UncheckedIOException("the statement " + path + " could not be read", e);
    }
  }
}
