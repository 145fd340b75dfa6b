// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern;

import dev.cistern.cli.Cistern;

/** Entry point. */
public final class Main {
  private Main() {}

  public static void main(String[] arguments) {
    if (arguments.length > 0 && arguments[0].equals("demo")) {
      // The demo tells its story on the terminal; the log would talk over it.
      System.setProperty("CISTERN_LOG", "ERROR");
    }
    System.exit(Cistern.run(arguments));
  }
}
