// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import dev.cistern.scan.Coded;
import java.sql.ResultSet;
import java.sql.SQLException;
import java.time.Instant;
import java.util.Collections;
import java.util.EnumSet;
import java.util.Set;
import java.util.regex.Pattern;
import java.util.stream.Collectors;
import org.jspecify.annotations.Nullable;

/**
 * A person who may sign in.
 *
 * @param password the hash of the password, in its encoded form
 * @param roles empty where only forms may be posted
 * @param locked by a person, until a person unlocks it
 * @param failures wrong passwords since the last right one
 * @param closedUntil until when no password is looked at, after too many wrong ones
 * @param stamp another one ends the sessions that were opened under it
 * @param subject null for who has a password here; else who signs in elsewhere: empty until the
 *     first time, then the issuer and the subject that no other may take the place of
 */
public record Account(
    String name,
    String password,
    Set<Role> roles,
    Instant createdAt,
    boolean locked,
    int failures,
    Instant closedUntil,
    String stamp,
    @Nullable String subject) {
  private static final Pattern NAME = Pattern.compile("[a-z0-9][a-z0-9._-]{0,39}");

  public Account {
    if (!isName(name)) {
      throw new IllegalArgumentException(
          "an account's name is lower-case letters, digits, dots, hyphens, at most 40");
    }
    Set<Role> sorted = EnumSet.noneOf(Role.class);
    sorted.addAll(roles);
    roles = Collections.unmodifiableSet(sorted);
  }

  /** One that has a password here. */
  public Account(
      String name,
      String password,
      Set<Role> roles,
      Instant createdAt,
      boolean locked,
      int failures,
      Instant closedUntil,
      String stamp) {
    this(name, password, roles, createdAt, locked, failures, closedUntil, stamp, null);
  }

  /** One that signs in elsewhere: no password, and no role before it did. */
  public static Account elsewhere(String name, Instant now, String stamp) {
    return new Account(name, "", Set.of(), now, false, 0, Instant.EPOCH, stamp, "");
  }

  public boolean isElsewhere() {
    return subject != null;
  }

  public static boolean isName(String text) {
    return NAME.matcher(text).matches();
  }

  /** Whether it has a role, or one that includes it. */
  public boolean may(Role role) {
    return role == Role.VIEW ? !roles.isEmpty() : roles.contains(role);
  }

  public Account withRoles(Set<Role> to) {
    return new Account(
        name, password, to, createdAt, locked, failures, closedUntil, stamp, subject);
  }

  /** With another password, which also opens it again after too many wrong ones. */
  public Account withPassword(String hash, String newStamp) {
    return new Account(name, hash, roles, createdAt, locked, 0, Instant.EPOCH, newStamp, subject);
  }

  public Account withLock(boolean lock, String newStamp) {
    return new Account(name, password, roles, createdAt, lock, 0, Instant.EPOCH, newStamp, subject);
  }

  public Account withFailures(int count, Instant until) {
    return new Account(name, password, roles, createdAt, locked, count, until, stamp, subject);
  }

  /** Bound to who signed in elsewhere. */
  public Account withSubject(String to) {
    return new Account(name, password, roles, createdAt, locked, failures, closedUntil, stamp, to);
  }

  String rolesText() {
    return roles.stream().map(Role::code).collect(Collectors.joining(" "));
  }

  static Account read(ResultSet rs) throws SQLException {
    Set<Role> roles = EnumSet.noneOf(Role.class);
    for (String word : rs.getString("roles").split(" ")) {
      Coded.of(Role.class, word).ifPresent(roles::add);
    }
    return new Account(
        rs.getString("name"),
        rs.getString("password"),
        roles,
        Instant.ofEpochMilli(rs.getLong("created_at")),
        rs.getBoolean("locked"),
        rs.getInt("failures"),
        Instant.ofEpochMilli(rs.getLong("closed_until")),
        rs.getString("stamp"),
        rs.getString("subject"));
  }

  /** Never shows the hash. */
  @Override
  public String toString() {
    return "Account[" + name + " " + rolesText() + "]";
  }
}
