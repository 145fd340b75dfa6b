// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import dev.cistern.json.Json;
import dev.cistern.scan.CisternException;
import java.util.List;
import java.util.Optional;
import java.util.function.UnaryOperator;
import org.jspecify.annotations.Nullable;

/** Who may sign in. Every change is on the trail in the same transaction. */
public final class Accounts {
  private final Ledger ledger;

  Accounts(Ledger ledger) {
    this.ledger = ledger;
  }

  public boolean any() {
    return ledger.read(
        handle -> handle.createQuery(Sql.of("account-any")).mapTo(Boolean.class).one());
  }

  public Optional<Account> find(String name) {
    return ledger.read(
        handle ->
            handle
                .createQuery(Sql.of("account-find"))
                .bind("name", name)
                .map((rs, context) -> Account.read(rs))
                .findFirst());
  }

  public List<Account> list() {
    return ledger.read(
        handle ->
            handle
                .createQuery(Sql.of("account-list"))
                .map((rs, context) -> Account.read(rs))
                .list());
  }

  /**
   * @throws CisternException where the name is taken
   */
  public void add(String actor, Account account) {
    ledger.write(
        actor,
        tx -> {
          if (find(tx, account.name()) != null) {
            throw new CisternException(
                "There is an account "
                    + account.name()
                    + " already; its password and roles can be changed.");
          }
          put(tx, account);
          trail(tx, "account-added", account);
          return account;
        });
  }

  /**
   * Changes an account as it is when the change is written.
   *
   * @param event what the trail calls it; null for what is not worth an event
   * @throws CisternException where there is none of that name
   */
  public Account change(
      String actor, String name, @Nullable String event, UnaryOperator<Account> change) {
    return ledger.write(
        actor,
        tx -> {
          Account changed = change.apply(known(tx, name));
          put(tx, changed);
          if (event != null) {
            trail(tx, event, changed);
          }
          return changed;
        });
  }

  /**
   * @throws CisternException where there is none of that name
   */
  public void remove(String actor, String name) {
    ledger.write(
        actor,
        tx -> {
          Account account = known(tx, name);
          tx.handle().createUpdate(Sql.of("account-remove")).bind("name", name).execute();
          trail(tx, "account-removed", account);
          return account;
        });
  }

  /** Puts an event on the trail that changes no account. */
  public void note(String actor, String event, String detail) {
    ledger.write(
        actor,
        tx -> {
          tx.trail(event, null, null, null, null, detail);
          return detail;
        });
  }

  private static Account known(Tx tx, String name) {
    Account account = find(tx, name);
    if (account == null) {
      throw new CisternException(
          "There is no account of this name; the command account list shows them.");
    }
    return account;
  }

  private static @Nullable Account find(Tx tx, String name) {
    return tx.handle()
        .createQuery(Sql.of("account-find"))
        .bind("name", name)
        .map((rs, context) -> Account.read(rs))
        .findFirst()
        .orElse(null);
  }

  private static void put(Tx tx, Account account) {
    tx.handle()
        .createUpdate(Sql.of("account-put"))
        .bind("name", account.name())
        .bind("password", account.password())
        .bind("roles", account.rolesText())
        .bind("createdAt", account.createdAt().toEpochMilli())
        .bind("locked", account.locked())
        .bind("failures", account.failures())
        .bind("closedUntil", account.closedUntil().toEpochMilli())
        .bind("stamp", account.stamp())
        .bind("subject", account.subject())
        .execute();
  }

  private static void trail(Tx tx, String event, Account account) {
    String detail =
        Json.text(
            out -> {
              out.writeStartObject();
              out.writeStringField("account", account.name());
              out.writeStringField("roles", account.rolesText());
              out.writeEndObject();
            });
    tx.trail(event, null, null, null, null, detail);
  }
}
