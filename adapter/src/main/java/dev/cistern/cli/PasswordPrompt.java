// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import dev.cistern.scan.CisternException;
import java.io.BufferedReader;
import java.io.Console;
import java.io.IOException;
import java.io.InputStreamReader;
import java.io.UncheckedIOException;
import java.nio.charset.StandardCharsets;
import java.util.Arrays;

/**
 * Asks for a password: twice on a terminal, without showing it; one line where it comes in a pipe.
 */
final class PasswordPrompt {
  private PasswordPrompt() {}

  static String ask(String account) {
    Console console = System.console();
    return console == null ? piped() : typed(console, account);
  }

  private static String typed(Console console, String account) {
    char[] first = console.readPassword("Password for %s: ", account);
    char[] second = console.readPassword("The same again: ");
    if (first == null || second == null || !Arrays.equals(first, second)) {
      throw new CisternException("The two passwords are not the same; nothing was changed.");
    }
    return new String(first);
  }

  private static String piped() {
    try {
      String line =
          new BufferedReader(new InputStreamReader(System.in, StandardCharsets.UTF_8)).readLine();
      if (line == null) {
        throw new CisternException(
            "There is no password on standard input; type it there, or pipe one line into it.");
      }
      return line;
    } catch (IOException e) {
      throw new UncheckedIOException("standard input cannot be read", e);
    }
  }
}
