// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import picocli.CommandLine.Command;

@Command(name = "demo", description = "Shows the adapter at work.")
final class DemoCommand extends WithHelp {
  @Override
  public Integer call() {
    return Exit.DONE;
  }
}
