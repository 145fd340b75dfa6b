// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import dev.cistern.console.access.Secret;
import dev.cistern.ledger.Tokens;
import dev.cistern.plant.Plant;
import dev.cistern.scan.CisternException;
import java.util.regex.Pattern;
import org.jspecify.annotations.Nullable;
import picocli.CommandLine.Command;
import picocli.CommandLine.Option;
import picocli.CommandLine.ParameterException;
import picocli.CommandLine.Parameters;

@Command(
    name = "token",
    description = "Manages the tokens that programs show when they post forms.",
    subcommands = {TokenCommand.Add.class, TokenCommand.ListThem.class, TokenCommand.Revoke.class},
    footer = {"", "Example:  cistern token add ward-tablet --source bedside"})
final class TokenCommand extends WithHelp {
  private static final Pattern NAME = Pattern.compile("[a-z0-9][a-z0-9._-]{0,39}");

  @Override
  public Integer call() {
    throw new ParameterException(spec().commandLine(), "Add, list or revoke?");
  }

  @Command(
      name = "add",
      description = {
        "Makes a token and prints it, this once: only its hash is kept.",
        "Programs send it as the header Authorization: Bearer TOKEN."
      },
      footer = {"", "Example:  cistern token add ward-tablet --source bedside"})
  static final class Add extends OnLedger {
    @Parameters(paramLabel = "NAME", description = "What the trail calls it.")
    private String name = "";

    @Option(names = "--source", paramLabel = "NAME", description = "The only form it may post to.")
    private @Nullable String source;

    @Override
    public Integer call() {
      if (!NAME.matcher(name).matches()) {
        throw new CisternException(
            "A token's name is lower-case letters, digits, dots and hyphens, at most 40.");
      }
      try (Plant plant = open()) {
        if (source != null && !plant.feeds().has(source)) {
          throw new CisternException("There is no source " + source + " in the settings.");
        }
        String token = Secret.fresh();
        plant.ledger().tokens().add(actor(), name, Secret.hash(token), source);
        out().println(token);
      }
      return Exit.DONE;
    }
  }

  @Command(
      name = "list",
      description = "Lists the tokens by their names; the tokens themselves are not kept.",
      footer = {"", "Example:  cistern token list"})
  static final class ListThem extends OnLedger {
    @Option(names = "--json", description = "One line of JSON a token.")
    private boolean json;

    @Override
    public Integer call() {
      try (Plant plant = open()) {
        plant.ledger().tokens().list().forEach(this::print);
      }
      return Exit.DONE;
    }

    private void print(Tokens.Token token) {
      if (json) {
        line(
            out -> {
              out.writeStartObject();
              out.writeStringField("token", token.name());
              optional(out, "source", token.source());
              out.writeStringField("createdAt", token.createdAt().toString());
              optional(out, "usedAt", token.usedAt());
              optional(out, "revokedAt", token.revokedAt());
              out.writeEndObject();
            });
        return;
      }
      String form = token.source() == null ? "any form" : token.source();
      String used = token.usedAt() == null ? "never used" : "used " + Times.local(token.usedAt());
      String revoked =
          token.revokedAt() == null ? "" : "  revoked " + Times.local(token.revokedAt());
      out().println(token.name() + "  " + form + "  " + used + revoked);
    }
  }

  @Command(
      name = "revoke",
      description = "Makes a token useless from now on.",
      footer = {"", "Example:  cistern token revoke ward-tablet"})
  static final class Revoke extends OnLedger {
    @Parameters(paramLabel = "NAME", description = "The name that token list shows.")
    private String name = "";

    @Override
    public Integer call() {
      try (Plant plant = open()) {
        plant.ledger().tokens().revoke(actor(), name);
        out().println(name + "  revoked");
      }
      return Exit.DONE;
    }
  }
}
