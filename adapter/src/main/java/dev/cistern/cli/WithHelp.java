// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import com.fasterxml.jackson.core.JsonGenerator;
import dev.cistern.json.Json;
import java.io.PrintWriter;
import java.util.Objects;
import java.util.concurrent.Callable;
import org.jspecify.annotations.Nullable;
import picocli.CommandLine.Command;
import picocli.CommandLine.Model.CommandSpec;
import picocli.CommandLine.Option;
import picocli.CommandLine.Spec;

/** What every command has: help, and two streams. */
@Command
abstract class WithHelp implements Callable<Integer> {
  @Spec private @Nullable CommandSpec spec;

  @Option(
      names = {"-h", "--help"},
      usageHelp = true,
      description = "Says this.")
  @SuppressWarnings("unused") // picocli acts on it
  private boolean help;

  final CommandSpec spec() {
    return Objects.requireNonNull(spec, "the command line sets it");
  }

  /** Data. */
  final PrintWriter out() {
    return spec().commandLine().getOut();
  }

  /** Everything else. */
  final PrintWriter err() {
    return spec().commandLine().getErr();
  }

  /** One line of JSON. */
  final void line(Json.Writing writing) {
    out().println(Json.text(writing));
  }

  static void optional(JsonGenerator json, String key, @Nullable Object value)
      throws java.io.IOException {
    if (value == null) {
      json.writeNullField(key);
    } else if (value instanceof Number number) {
      json.writeNumberField(key, number.longValue());
    } else {
      json.writeStringField(key, value.toString());
    }
  }
}
