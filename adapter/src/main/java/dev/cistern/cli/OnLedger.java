// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import dev.cistern.config.Settings;
import dev.cistern.config.SettingsFile;
import dev.cistern.ledger.Entry;
import dev.cistern.plant.Plant;
import dev.cistern.scan.CisternException;
import java.nio.file.Path;
import java.time.Clock;
import java.util.random.RandomGenerator;
import org.jspecify.annotations.Nullable;
import picocli.CommandLine.Option;

/** A command that works on the ledger that a settings file names; the adapter may be running. */
abstract class OnLedger extends WithHelp {
  @Option(
      names = "--config",
      paramLabel = "FILE",
      defaultValue = "cistern.yaml",
      description = "The settings; cistern.yaml in this folder else.")
  private Path config = Path.of("cistern.yaml");

  @Option(
      names = "--as",
      paramLabel = "NAME",
      description = "Who does it; the system's user as it is.")
  private @Nullable String as;

  final Settings settings() {
    return SettingsFile.read(config, System.getenv());
  }

  final Plant open() {
    return Plant.open(settings(), Clock.systemUTC(), RandomGenerator.getDefault());
  }

  /** Who stands on the trail. */
  final String actor() {
    if (as != null && !as.isBlank()) {
      return "user " + as.strip();
    }
    String user = System.getProperty("user.name");
    if (user == null || user.isBlank() || user.equals("?")) {
      throw new CisternException("Nobody knows who you are; say it with --as NAME.");
    }
    return "user " + user;
  }

  static Entry entry(Plant plant, long id) {
    return plant
        .ledger()
        .records()
        .entry(id)
        .orElseThrow(
            () ->
                new CisternException(
                    "There is no entry " + id + "; the command rejected lists their numbers."));
  }
}
