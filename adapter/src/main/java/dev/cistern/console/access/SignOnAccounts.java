// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console.access;

import com.nimbusds.openid.connect.sdk.claims.IDTokenClaimsSet;
import dev.cistern.config.Settings;
import dev.cistern.ledger.Account;
import dev.cistern.ledger.Accounts;
import dev.cistern.ledger.Role;
import dev.cistern.scan.CisternException;
import dev.cistern.scan.Coded;
import java.util.Collection;
import java.util.EnumSet;
import java.util.List;
import java.util.Locale;
import java.util.Map;
import java.util.Set;
import org.jspecify.annotations.Nullable;

/**
 * Finds the account of who signed in elsewhere. None is made: an account waits for its person under
 * the name that the provider gives, and belongs from the first time on to that subject alone, as
 * names are given to others later. Roles are what the provider's groups say today.
 */
final class SignOnAccounts {
  private final Accounts accounts;
  private final Settings.SignOnClaims claims;
  private final String node;

  SignOnAccounts(Accounts accounts, Settings.SignOnClaims claims, String node) {
    this.accounts = accounts;
    this.claims = claims;
    this.node = node;
  }

  /**
   * @throws SignOnFailed where there is no account for them, or it is locked
   */
  Account of(IDTokenClaimsSet token) throws SignOnFailed {
    String subject = token.getIssuer().getValue() + " " + token.getSubject().getValue();
    Account found = find(token, subject);
    if (found.locked()) {
      accounts.note(node, "sign-in-refused", found.name() + ", locked");
      throw new SignOnFailed("the account is locked", null);
    }
    Account bound = "".equals(found.subject()) ? bind(found, subject) : found;
    Set<Role> roles = roles(token);
    return bound.roles().equals(roles)
        ? bound
        : accounts.change(node, bound.name(), "account-roles", a -> a.withRoles(roles));
  }

  private Account find(IDTokenClaimsSet token, String subject) throws SignOnFailed {
    for (Account each : accounts.list()) {
      if (subject.equals(each.subject())) {
        return each;
      }
    }
    String name = text(token.getClaim(claims.name()));
    Account waiting =
        name != null && Account.isName(name) ? accounts.find(name).orElse(null) : null;
    if (waiting == null || !"".equals(waiting.subject())) {
      throw new SignOnFailed("no account waits for this person", null);
    }
    return waiting;
  }

  private Account bind(Account waiting, String subject) throws SignOnFailed {
    try {
      return accounts.change(
          node,
          waiting.name(),
          "account-bound",
          current -> {
            if (!"".equals(current.subject()) || current.locked()) {
              throw new CisternException("The account was changed meanwhile.");
            }
            return current.withSubject(subject);
          });
    } catch (CisternException e) {
      throw new SignOnFailed("the account was changed meanwhile", e);
    }
  }

  /** What the groups give; what nobody named gives nothing. */
  private Set<Role> roles(IDTokenClaimsSet token) {
    Set<Role> roles = EnumSet.noneOf(Role.class);
    for (String group : groups(token)) {
      for (String word : claims.groups().getOrDefault(group, List.of())) {
        Coded.of(Role.class, word).ifPresent(roles::add);
      }
    }
    return roles;
  }

  private List<String> groups(IDTokenClaimsSet token) {
    Object at = token.getClaim(claims.roles());
    if (at == null) {
      at = token.toJSONObject();
      for (String step : claims.roles().split("\\.")) {
        at = at instanceof Map<?, ?> object ? object.get(step) : null;
      }
    }
    if (at instanceof Collection<?> list) {
      return list.stream().filter(String.class::isInstance).map(String.class::cast).toList();
    }
    return at instanceof String one ? List.of(one) : List.of();
  }

  private static @Nullable String text(@Nullable Object claim) {
    return claim instanceof String text ? text.strip().toLowerCase(Locale.ROOT) : null;
  }
}
