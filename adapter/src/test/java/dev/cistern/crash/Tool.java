// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash;

import java.io.IOException;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.List;
import org.jspecify.annotations.Nullable;
import org.junit.jupiter.api.Assumptions;

/**
 * Programs of the system that make it fail. Where one is missing, a step is skipped and says so,
 * but on a build server ({@code CI=true}), whose list of packages has it, it fails.
 */
final class Tool {
  private static final boolean BUILD_SERVER = "true".equals(System.getenv("CI"));

  private Tool() {}

  /**
   * @param step the step's name in the report
   * @param trial a command that shows whether the tool is there, and is let do its work
   */
  static void require(String step, String... trial) throws InterruptedException {
    try {
      int code = run(trial);
      if (code != 0) {
        skip(step, trial[0] + " is not permitted here (exit " + code + ")");
      }
    } catch (IOException e) {
      if (BUILD_SERVER) {
        throw new IllegalStateException(trial[0] + " is missing; .ci/run installs it", e);
      }
      skip(step, trial[0] + " is not installed");
    }
  }

  private static void skip(String step, String why) {
    CampaignReport.skipped(step, why);
    Assumptions.abort(why);
  }

  /** Runs a command to its end; its exit code. */
  static int run(String... command) throws IOException, InterruptedException {
    return new ProcessBuilder(command)
        .redirectErrorStream(true)
        .redirectOutput(ProcessBuilder.Redirect.DISCARD)
        .start()
        .waitFor();
  }

  /** Runs a command that has to succeed. */
  static void must(String... command) throws IOException, InterruptedException {
    int code = run(command);
    if (code != 0) {
      throw new IOException(String.join(" ", command) + " fails with exit code " + code);
    }
  }

  static void signal(String signal, long pid) throws IOException, InterruptedException {
    must("kill", "-" + signal, String.valueOf(pid));
  }

  /**
   * Kills the program that follows just before one of its calls of the system takes effect. Each of
   * its threads counts for itself.
   *
   * @param call the call's name
   * @param path only calls on this file count; null for all
   * @param number which call it is that does not take place, from 1
   */
  static List<String> killing(String call, @Nullable Path path, int number) {
    List<String> command = new ArrayList<>(List.of("strace", "-D", "-f", "-qq"));
    if (path != null) {
      command.addAll(List.of("-P", path.toString()));
    }
    command.addAll(
        List.of(
            "-o",
            "/dev/null",
            "-e",
            "trace=" + call,
            "-e",
            "signal=none",
            "-e",
            "inject=" + call + ":signal=SIGKILL:when=" + number));
    return command;
  }

  /** Makes a call of a running process fail, until the returned process is ended. */
  static Process failing(String call, String error, long pid) throws IOException {
    return new ProcessBuilder(
            "strace",
            "-f",
            "-qq",
            "-p",
            String.valueOf(pid),
            "-o",
            "/dev/null",
            "-e",
            "trace=" + call,
            "-e",
            "signal=none",
            "-e",
            "inject=" + call + ":error=" + error)
        .redirectErrorStream(true)
        .redirectOutput(ProcessBuilder.Redirect.DISCARD)
        .start();
  }
}
