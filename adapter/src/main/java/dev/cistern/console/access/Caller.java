// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console.access;

import dev.cistern.ledger.Account;
import dev.cistern.ledger.Role;
import dev.cistern.ledger.Tokens;
import jakarta.servlet.ServletRequest;

/** Who sent a request. */
public sealed interface Caller {
  /** Nobody said who they are. */
  record Nobody() implements Caller {}

  /** A program with a token. */
  record Program(Tokens.Token token) implements Caller {}

  /** A person who signed in. */
  record Person(Account account, Session session) implements Caller {}

  Caller NOBODY = new Nobody();

  /** As the gate found it. */
  static Caller of(ServletRequest request) {
    return request.getAttribute(Gate.CALLER) instanceof Caller caller ? caller : NOBODY;
  }

  default boolean may(Role role) {
    return this instanceof Person person && person.account().may(role);
  }

  /** Whether it may post to a form. */
  default boolean mayPost(String form) {
    return this instanceof Person || this instanceof Program p && p.token().allows(form);
  }

  /** How the trail names them. */
  default String actor(String otherwise) {
    if (this instanceof Person person) {
      return "account " + person.account().name();
    }
    return this instanceof Program program ? "token " + program.token().name() : otherwise;
  }

  /** The name of the person's account; empty for anything but a person. */
  default String name() {
    return this instanceof Person person ? person.account().name() : "";
  }

  /** The text that every form of theirs has to bring back; empty where they are not signed in. */
  default String check() {
    return this instanceof Person person ? person.session().check() : "";
  }
}
