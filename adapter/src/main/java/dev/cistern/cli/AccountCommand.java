// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import dev.cistern.console.access.Passwords;
import dev.cistern.console.access.Secret;
import dev.cistern.ledger.Account;
import dev.cistern.ledger.Accounts;
import dev.cistern.ledger.Role;
import dev.cistern.plant.Plant;
import dev.cistern.scan.CisternException;
import dev.cistern.scan.Coded;
import java.time.Instant;
import java.util.EnumSet;
import java.util.List;
import java.util.Set;
import picocli.CommandLine.Command;
import picocli.CommandLine.Option;
import picocli.CommandLine.ParameterException;
import picocli.CommandLine.Parameters;

@Command(
    name = "account",
    description = {
      "Manages the people who may sign in to the console.",
      "Roles: view (sees the queue and entries), operate (amends, replays, discards), map (changes mappings), audit (sees and exports the trail). An account without a role may post forms only."
    },
    subcommands = {
      AccountCommand.Add.class,
      AccountCommand.ListThem.class,
      AccountCommand.Roles.class,
      AccountCommand.Lock.class,
      AccountCommand.Unlock.class,
      AccountCommand.Password.class,
      AccountCommand.Remove.class
    },
    footer = {"", "Example:  cistern account add a.ash --role view --role operate"})
final class AccountCommand extends WithHelp {
  @Override
  public Integer call() {
    throw new ParameterException(
        spec().commandLine(), "Add, list, role, lock, unlock, password or remove?");
  }

  /** One of them that works on one account. */
  abstract static class OnAccount extends OnLedger {
    @Parameters(
        paramLabel = "NAME",
        description = "The name to sign in with: lower-case letters, digits, dots, hyphens.")
    private String name = "";

    abstract String change(Accounts accounts, String name);

    @Override
    public Integer call() {
      if (!Account.isName(name)) {
        throw new CisternException(
            "An account's name is lower-case letters, digits, dots and hyphens, at most 40.");
      }
      try (Plant plant = open()) {
        out().println(change(plant.ledger().accounts(), name));
      }
      return Exit.DONE;
    }
  }

  static Set<Role> roles(List<String> words) {
    Set<Role> roles = EnumSet.noneOf(Role.class);
    for (String word : words) {
      roles.add(
          Coded.of(Role.class, word)
              .orElseThrow(
                  () ->
                      new CisternException(
                          "There is no role "
                              + word
                              + "; the roles are "
                              + String.join(", ", Coded.words(Role.class))
                              + ".")));
    }
    return roles;
  }

  private static String text(Account account) {
    String roles =
        account.roles().isEmpty()
            ? "forms only"
            : String.join(", ", account.roles().stream().map(Role::code).toList());
    return account.name()
        + "  "
        + roles
        + (account.isElsewhere() ? "  single sign-on" : "")
        + (account.locked() ? "  locked" : "");
  }

  /** What is kept elsewhere is changed there. */
  private static Account here(Account account) {
    if (account.isElsewhere()) {
      throw new CisternException(
          account.name()
              + " has single sign-on: its password and roles are kept there, not here. Lock it to"
              + " keep it out.");
    }
    return account;
  }

  @Command(
      name = "add",
      description = "Makes an account. The password is asked for, or read from standard input.",
      footer = {"", "Example:  cistern account add a.ash --role view --role operate"})
  static final class Add extends OnAccount {
    @Option(
        names = "--role",
        paramLabel = "ROLE",
        description = "view, operate, map or audit; several may be given.")
    private List<String> roles = List.of();

    @Option(
        names = "--single-sign-on",
        description =
            "It signs in at access.oidc, has no password here, and its roles come from there.")
    private boolean elsewhere;

    @Override
    String change(Accounts accounts, String name) {
      Set<Role> given = roles(roles);
      if (elsewhere && !given.isEmpty()) {
        throw new CisternException(
            "The roles of an account with single sign-on come from access.oidc.roles; leave out"
                + " --role.");
      } else if (elsewhere) {
        Account account = Account.elsewhere(name, Instant.now(), Secret.fresh());
        accounts.add(actor(), account);
        return text(account);
      }
      String hash = Passwords.hash(name, PasswordPrompt.ask(name));
      Account account =
          new Account(name, hash, given, Instant.now(), false, 0, Instant.EPOCH, Secret.fresh());
      accounts.add(actor(), account);
      return text(account);
    }
  }

  @Command(
      name = "list",
      description = "Lists the accounts.",
      footer = {"", "Example:  cistern account list --json"})
  static final class ListThem extends OnLedger {
    @Option(names = "--json", description = "One line of JSON an account.")
    private boolean json;

    @Override
    public Integer call() {
      try (Plant plant = open()) {
        for (Account account : plant.ledger().accounts().list()) {
          if (json) {
            line(
                out -> {
                  out.writeStartObject();
                  out.writeStringField("account", account.name());
                  out.writeArrayFieldStart("roles");
                  for (Role role : account.roles()) {
                    out.writeString(role.code());
                  }
                  out.writeEndArray();
                  out.writeStringField("createdAt", account.createdAt().toString());
                  out.writeBooleanField("locked", account.locked());
                  out.writeBooleanField("singleSignOn", account.isElsewhere());
                  out.writeEndObject();
                });
          } else {
            out().println(text(account));
          }
        }
      }
      return Exit.DONE;
    }
  }

  @Command(
      name = "role",
      description = "Gives an account exactly these roles; without one it may post forms only.",
      footer = {"", "Example:  cistern account role a.ash --role view --role audit"})
  static final class Roles extends OnAccount {
    @Option(names = "--role", paramLabel = "ROLE", description = "view, operate, map or audit.")
    private List<String> roles = List.of();

    @Override
    String change(Accounts accounts, String name) {
      Set<Role> given = roles(roles);
      return text(accounts.change(actor(), name, "account-roles", a -> here(a).withRoles(given)));
    }
  }

  @Command(
      name = "lock",
      description = "Locks an account and ends its sessions.",
      footer = {"", "Example:  cistern account lock a.ash"})
  static final class Lock extends OnAccount {
    @Override
    String change(Accounts accounts, String name) {
      String stamp = Secret.fresh();
      return text(accounts.change(actor(), name, "account-locked", a -> a.withLock(true, stamp)));
    }
  }

  @Command(
      name = "unlock",
      description = "Opens an account again, also where it was closed after wrong passwords.",
      footer = {"", "Example:  cistern account unlock a.ash"})
  static final class Unlock extends OnAccount {
    @Override
    String change(Accounts accounts, String name) {
      return text(
          accounts.change(actor(), name, "account-unlocked", a -> a.withLock(false, a.stamp())));
    }
  }

  @Command(
      name = "password",
      description = "Sets an account's password and ends its sessions.",
      footer = {"", "Example:  cistern account password a.ash"})
  static final class Password extends OnAccount {
    @Override
    String change(Accounts accounts, String name) {
      String hash = Passwords.hash(name, PasswordPrompt.ask(name));
      String stamp = Secret.fresh();
      return text(
          accounts.change(
              actor(), name, "account-password", a -> here(a).withPassword(hash, stamp)));
    }
  }

  @Command(
      name = "remove",
      description = "Removes an account and ends its sessions. What it did stays on the trail.",
      footer = {"", "Example:  cistern account remove a.ash"})
  static final class Remove extends OnAccount {
    @Override
    String change(Accounts accounts, String name) {
      accounts.remove(actor(), name);
      return name + "  removed";
    }
  }
}
