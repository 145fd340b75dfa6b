// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import dev.cistern.ledger.LogLevels;
import dev.cistern.plant.Plant;
import picocli.CommandLine.Command;
import picocli.CommandLine.Option;
import picocli.CommandLine.Parameters;

@Command(
    name = "log-level",
    description = {
      "Sets how much the running adapter says in its log, within a few seconds.",
      "At the next start it is again what the variable CISTERN_LOG says."
    },
    footer = {"", "Example:  cistern log-level debug --why \"the server answers 412\""})
final class LogLevelCommand extends OnLedger {
  @Parameters(paramLabel = "LEVEL", description = "One of ${COMPLETION-CANDIDATES}.")
  private LogLevels.Level level = LogLevels.Level.INFO;

  @Option(
      names = "--why",
      paramLabel = "REASON",
      required = true,
      description = "The reason, for the trail. Name no patient in it.")
  private String why = "";

  @Override
  public Integer call() {
    try (Plant plant = open()) {
      plant.ledger().logLevels().set(actor(), level, why);
    }
    err().println("The running adapter logs from " + level + " on within a few seconds.");
    return Exit.DONE;
  }
}
