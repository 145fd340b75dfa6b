// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.json.Json;
import java.io.ByteArrayOutputStream;
import java.io.PrintStream;
import java.nio.charset.StandardCharsets;
import java.util.List;

/** What a command line gave: its exit code and what it wrote on both streams. */
record Spoken(int code, String out, String err) {

  static Spoken by(String... arguments) {
    PrintStream out = System.out;
    PrintStream err = System.err;
    ByteArrayOutputStream data = new ByteArrayOutputStream();
    ByteArrayOutputStream rest = new ByteArrayOutputStream();
    try {
      System.setOut(new PrintStream(data, true, StandardCharsets.UTF_8));
      System.setErr(new PrintStream(rest, true, StandardCharsets.UTF_8));
      int code = Cistern.run(arguments);
      return new Spoken(
          code, data.toString(StandardCharsets.UTF_8), rest.toString(StandardCharsets.UTF_8));
    } finally {
      System.setOut(out);
      System.setErr(err);
    }
  }

  /** Standard output as JSON lines; anything else on it is a fault. */
  List<JsonNode> json() {
    return out.lines().map(Json::tree).toList();
  }

  JsonNode only() {
    List<JsonNode> all = json();
    if (all.size() != 1) {
      throw new AssertionError("not one line of JSON, but " + all.size() + ": " + out + err);
    }
    return all.get(0);
  }
}
