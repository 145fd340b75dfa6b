// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bench;

import java.io.BufferedReader;
import java.io.IOException;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.List;
import java.util.concurrent.TimeUnit;

/** A process that the bench started, and ends. */
final class Child implements AutoCloseable {
  private final Process process;
  private final BufferedReader output;

  private Child(Process process) {
    this.process = process;
    this.output = process.inputReader();
  }

  /** A class of this source tree with a Java machine of its own. */
  static Child java(Class<?> main, String memory, List<String> arguments) throws IOException {
    List<String> command = new ArrayList<>();
    command.add(Path.of(System.getProperty("java.home"), "bin", "java").toString());
    command.addAll(List.of(memory, "-cp", System.getProperty("java.class.path")));
    command.add(main.getName());
    command.addAll(arguments);
    return new Child(
        new ProcessBuilder(command).redirectError(ProcessBuilder.Redirect.INHERIT).start());
  }

  /** The next line that it prints. */
  String line() throws IOException {
    String line = output.readLine();
    if (line == null) {
      throw new IllegalStateException("a process of the bench ended early");
    }
    return line;
  }

  long pid() {
    return process.pid();
  }

  @Override
  public void close() throws InterruptedException {
    process.destroy();
    if (!process.waitFor(20, TimeUnit.SECONDS)) {
      process.destroyForcibly().waitFor();
    }
  }
}
