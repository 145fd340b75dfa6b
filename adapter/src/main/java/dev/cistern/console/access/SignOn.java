// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console.access;

import com.github.benmanes.caffeine.cache.Cache;
import com.github.benmanes.caffeine.cache.Caffeine;
import com.nimbusds.oauth2.sdk.ParseException;
import com.nimbusds.oauth2.sdk.id.State;
import com.nimbusds.oauth2.sdk.pkce.CodeVerifier;
import com.nimbusds.openid.connect.sdk.AuthenticationResponse;
import com.nimbusds.openid.connect.sdk.AuthenticationResponseParser;
import com.nimbusds.openid.connect.sdk.AuthenticationSuccessResponse;
import com.nimbusds.openid.connect.sdk.Nonce;
import dev.cistern.ledger.Account;
import java.net.URI;
import java.nio.charset.StandardCharsets;
import java.security.MessageDigest;
import java.time.Clock;
import java.time.Duration;
import java.util.concurrent.TimeUnit;
import org.jspecify.annotations.Nullable;

/** Sends a person to the provider, and looks at what they come back with. */
final class SignOn {
  private static final Duration LONGEST = Duration.ofMinutes(10);

  private final SignOnProvider provider;
  private final SignOnAccounts accounts;
  private final Cache<String, Trip> trips;

  SignOn(SignOnProvider provider, SignOnAccounts accounts, Clock clock) {
    this.provider = provider;
    this.accounts = accounts;
    this.trips =
        Caffeine.newBuilder()
            .maximumSize(10_000)
            .expireAfterWrite(LONGEST)
            .ticker(() -> TimeUnit.MILLISECONDS.toNanos(clock.millis()))
            .build();
  }

  /**
   * Somebody on the way.
   *
   * @param browser the hash of what the browser holds meanwhile: another one does not come back
   * @param to where they wanted to go
   */
  private record Trip(String browser, Nonce nonce, CodeVerifier verifier, String to) {}

  /** Who came back, and where they wanted to go. */
  record Back(Account account, String to) {}

  /** Where the browser is to go; it holds the text until it comes back. */
  URI begin(String held, String to) throws SignOnFailed {
    State state = new State();
    Trip trip = new Trip(Secret.hash(held), new Nonce(), new CodeVerifier(), to);
    URI there = provider.ask(state, trip.nonce(), trip.verifier());
    trips.put(state.getValue(), trip);
    return there;
  }

  /**
   * @param query what the provider sent the browser back with
   * @param held what the browser holds; null for nothing
   */
  Back end(@Nullable String query, @Nullable String held) throws SignOnFailed {
    AuthenticationResponse answer = parsed(query);
    State state = answer.getState();
    Trip trip = state == null ? null : trips.asMap().remove(state.getValue());
    if (trip == null || held == null || !same(trip.browser(), Secret.hash(held))) {
      throw new SignOnFailed("the way back does not belong to a way out of this browser", null);
    }
    if (!provider.isIssuer(answer.getIssuer())) {
      throw new SignOnFailed("another provider answered", null);
    }
    if (!(answer instanceof AuthenticationSuccessResponse success)
        || success.getAuthorizationCode() == null) {
      throw new SignOnFailed("the provider refused", null);
    }
    return new Back(
        accounts.of(provider.redeem(success.getAuthorizationCode(), trip.verifier(), trip.nonce())),
        trip.to());
  }

  private AuthenticationResponse parsed(@Nullable String query) throws SignOnFailed {
    try {
      return AuthenticationResponseParser.parse(URI.create(provider.back() + "?" + query));
    } catch (ParseException | IllegalArgumentException e) {
      throw new SignOnFailed("the provider's answer cannot be read", e);
    }
  }

  private static boolean same(String one, String other) {
    return MessageDigest.isEqual(
        one.getBytes(StandardCharsets.UTF_8), other.getBytes(StandardCharsets.UTF_8));
  }
}
