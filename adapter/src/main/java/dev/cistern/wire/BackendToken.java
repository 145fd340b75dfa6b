// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.wire;

import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
import java.util.concurrent.CompletableFuture;
import java.util.concurrent.CompletionException;
import org.jspecify.annotations.Nullable;

/**
 * The access token that all workers share. One of them asks for it, the others wait for the same
 * answer; it is asked for anew a while before it ends, and when the server refuses it.
 */
final class BackendToken implements Access {
  /** A token is renewed when so little, or a fifth of its life, is left. */
  private static final Duration EARLY = Duration.ofMinutes(1);

  private static final int FIFTH = 5;

  /** How long an early renewal that failed is left alone, while the token still holds. */
  private static final Duration LEFT_ALONE = Duration.ofSeconds(10);

  private final TokenEndpoint endpoint;
  private final Clock clock;
  private TokenEndpoint.@Nullable Token token;
  private @Nullable CompletableFuture<TokenEndpoint.Token> asked;
  private Instant notBefore = Instant.EPOCH;

  BackendToken(TokenEndpoint endpoint, Clock clock) {
    this.endpoint = endpoint;
    this.clock = clock;
  }

  @Override
  public String header() throws NoAccess {
    TokenEndpoint.Token usable;
    synchronized (this) {
      usable = usable();
      if (usable != null
          && (fresh(usable) || asked != null || clock.instant().isBefore(notBefore))) {
        return header(usable);
      }
    }
    if (usable == null) {
      return header(ask(null));
    }
    try {
      return header(ask(header(usable)));
    } catch (NoAccess e) {
      synchronized (this) {
        notBefore = clock.instant().plus(LEFT_ALONE);
      }
      return header(usable);
    }
  }

  @Override
  public String after(String refused) throws NoAccess {
    synchronized (this) {
      if (token != null && header(token).equals(refused)) {
        token = null;
      }
    }
    return header(ask(refused));
  }

  /**
   * A token of which this is not the header: the one that somebody has got meanwhile, the one that
   * somebody is asking for, or one that is asked for now. All three are looked at in one step, so
   * that whoever comes too late to join does not ask again.
   */
  private TokenEndpoint.Token ask(@Nullable String unlike) throws NoAccess {
    CompletableFuture<TokenEndpoint.Token> mine = new CompletableFuture<>();
    CompletableFuture<TokenEndpoint.Token> theirs;
    synchronized (this) {
      TokenEndpoint.Token now = usable();
      if (now != null && !header(now).equals(unlike)) {
        return now;
      }
      theirs = asked;
      if (theirs == null) {
        asked = mine;
      }
    }
    if (theirs != null) {
      return joined(theirs);
    }
    try {
      mine.complete(endpoint.fetch());
    } catch (NoAccess | RuntimeException e) {
      mine.completeExceptionally(e);
    }
    synchronized (this) {
      asked = null;
      if (!mine.isCompletedExceptionally()) {
        token = mine.join();
      }
    }
    return joined(mine);
  }

  private static TokenEndpoint.Token joined(CompletableFuture<TokenEndpoint.Token> answer)
      throws NoAccess {
    try {
      return answer.join();
    } catch (CompletionException e) {
      throw e.getCause() instanceof NoAccess no ? no : new NoAccess("no token could be had", e);
    }
  }

  private TokenEndpoint.@Nullable Token usable() {
    TokenEndpoint.Token known = token;
    return known != null && clock.instant().isBefore(known.until()) ? known : null;
  }

  private boolean fresh(TokenEndpoint.Token known) {
    Duration fifth = Duration.between(known.from(), known.until()).dividedBy(FIFTH);
    Duration early = fifth.compareTo(EARLY) < 0 ? fifth : EARLY;
    return clock.instant().isBefore(known.until().minus(early));
  }

  private static String header(TokenEndpoint.Token token) {
    return "Bearer " + token.value();
  }

  @Override
  public synchronized @Nullable Instant expires() {
    TokenEndpoint.Token known = token;
    return known == null ? null : known.until();
  }
}
