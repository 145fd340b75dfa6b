// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import dev.cistern.ledger.LedgerUnavailable;
import dev.cistern.plant.Version;
import dev.cistern.scan.CisternException;
import java.io.PrintWriter;
import java.nio.charset.StandardCharsets;
import org.jspecify.annotations.Nullable;
import org.slf4j.LoggerFactory;
import picocli.CommandLine;
import picocli.CommandLine.Command;
import picocli.CommandLine.IVersionProvider;
import picocli.CommandLine.Model.CommandSpec;
import picocli.CommandLine.ParameterException;
import picocli.CommandLine.Spec;

/** The program's commands. */
@Command(
    name = "cistern",
    description = "Carries bladder volume results into the patient's record.",
    synopsisSubcommandLabel = "COMMAND",
    mixinStandardHelpOptions = true,
    versionProvider = Cistern.Versions.class,
    subcommands = {
      DemoCommand.class,
      InitCommand.class,
      RunCommand.class,
      CheckCommand.class,
      ProbeCommand.class,
      PreviewCommand.class,
      ImpactCommand.class,
      RejectedCommand.class,
      ShowCommand.class,
      ReplayCommand.class,
      AmendCommand.class,
      DiscardCommand.class,
      ReconcileCommand.class,
      TrailCommand.class,
      PurgeCommand.class,
      BackupCommand.class,
      CodesCommand.class,
      AccountCommand.class,
      TokenCommand.class,
      LogLevelCommand.class
    },
    footer = {
      "",
      "Exit codes: 0 done; 1 done, and something was rejected or does not hold; 2 wrong usage or"
          + " configuration; 3 a broken machine (store, network).",
      "",
      "Try it:  cistern demo"
    })
public final class Cistern implements Runnable {
  @Spec private @Nullable CommandSpec spec;

  static final class Versions implements IVersionProvider {
    @Override
    public String[] getVersion() {
      return new String[] {"cistern " + Version.current()};
    }
  }

  /** Runs a command line; returns its exit code. */
  public static int run(String... arguments) {
    CommandLine line = new CommandLine(new Cistern());
    line.setOut(new PrintWriter(System.out, true, StandardCharsets.UTF_8));
    line.setErr(new PrintWriter(System.err, true, StandardCharsets.UTF_8));
    line.setCaseInsensitiveEnumValuesAllowed(true);
    line.setUsageHelpAutoWidth(true);
    line.setExecutionExceptionHandler((e, command, parsed) -> failed(e, command));
    line.setParameterExceptionHandler((e, given) -> misused(e));
    return line.execute(arguments);
  }

  private static int failed(Exception e, CommandLine command) {
    if (e instanceof LedgerUnavailable || e instanceof NetworkDown) {
      command.getErr().println(e.getMessage());
      return Exit.BROKEN;
    }
    LoggerFactory.getLogger(Cistern.class).debug("the command failed", e);
    if (e instanceof CisternException) {
      command.getErr().println(e.getMessage());
      return Exit.USAGE;
    }
    LoggerFactory.getLogger(Cistern.class).error("the command failed", e);
    command.getErr().println("The program has a fault: " + e.getClass().getName() + ".");
    return Exit.BROKEN;
  }

  private static int misused(ParameterException e) {
    CommandLine command = e.getCommandLine();
    command.getErr().println(e.getMessage());
    CommandLine.UnmatchedArgumentException.printSuggestions(e, command.getErr());
    command.getErr().println("See: " + command.getCommandSpec().qualifiedName() + " --help");
    return Exit.USAGE;
  }

  @Override
  public void run() {
    CommandSpec whole = java.util.Objects.requireNonNull(spec);
    throw new ParameterException(whole.commandLine(), "Which command?");
  }
}
