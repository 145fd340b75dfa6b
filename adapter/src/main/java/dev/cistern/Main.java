// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern;

import dev.cistern.cli.Cistern;

/** Entry point. */
public final class Main {
  private Main() {}

  public static void main(String[] arguments) {
    System.exit(Cistern.run(arguments));
  }
}
