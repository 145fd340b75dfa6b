// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console.access;

import com.nimbusds.jose.JOSEException;
import com.nimbusds.jose.JWSAlgorithm;
import com.nimbusds.jose.KeySourceException;
import com.nimbusds.jose.jwk.source.JWKSource;
import com.nimbusds.jose.jwk.source.JWKSourceBuilder;
import com.nimbusds.jose.proc.BadJOSEException;
import com.nimbusds.jose.proc.JWSVerificationKeySelector;
import com.nimbusds.jose.proc.SecurityContext;
import com.nimbusds.jose.util.DefaultResourceRetriever;
import com.nimbusds.jwt.JWT;
import com.nimbusds.oauth2.sdk.AuthorizationCode;
import com.nimbusds.oauth2.sdk.AuthorizationCodeGrant;
import com.nimbusds.oauth2.sdk.GeneralException;
import com.nimbusds.oauth2.sdk.ParseException;
import com.nimbusds.oauth2.sdk.ResponseType;
import com.nimbusds.oauth2.sdk.Scope;
import com.nimbusds.oauth2.sdk.TokenRequest;
import com.nimbusds.oauth2.sdk.TokenResponse;
import com.nimbusds.oauth2.sdk.auth.ClientSecretBasic;
import com.nimbusds.oauth2.sdk.auth.Secret;
import com.nimbusds.oauth2.sdk.http.HTTPRequest;
import com.nimbusds.oauth2.sdk.http.HTTPResponse;
import com.nimbusds.oauth2.sdk.id.ClientID;
import com.nimbusds.oauth2.sdk.id.Issuer;
import com.nimbusds.oauth2.sdk.id.State;
import com.nimbusds.oauth2.sdk.pkce.CodeChallengeMethod;
import com.nimbusds.oauth2.sdk.pkce.CodeVerifier;
import com.nimbusds.openid.connect.sdk.AuthenticationRequest;
import com.nimbusds.openid.connect.sdk.Nonce;
import com.nimbusds.openid.connect.sdk.OIDCTokenResponse;
import com.nimbusds.openid.connect.sdk.OIDCTokenResponseParser;
import com.nimbusds.openid.connect.sdk.claims.IDTokenClaimsSet;
import com.nimbusds.openid.connect.sdk.op.OIDCProviderMetadata;
import com.nimbusds.openid.connect.sdk.validators.IDTokenValidator;
import dev.cistern.config.Settings;
import java.io.IOException;
import java.net.URI;
import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
import java.util.function.Supplier;
import org.jspecify.annotations.Nullable;

/**
 * Talks to an OpenID Connect provider (OpenID Connect Core 1.0; PKCE, RFC 7636): what it says of
 * itself is asked once, its keys when a token names one that is not known yet.
 */
final class SignOnProvider {
  private static final int PATIENCE_MS = 5_000;

  /** So long after it could not be asked, it is not asked again. */
  private static final Duration REST = Duration.ofSeconds(3);

  private static final int LARGEST_ANSWER = 200_000;
  private static final int CLOCK_SKEW_SECONDS = 60;

  private final Settings.SignOn settings;
  private final ClientID client;
  private final URI back;
  private final Clock clock;
  private @Nullable Known known;
  private @Nullable Instant failedAt;

  /** What the provider says of itself, and how its tokens are checked. */
  private record Known(OIDCProviderMetadata metadata, IDTokenValidator validator) {}

  SignOnProvider(Settings.SignOn settings, Clock clock) {
    this.clock = clock;
    this.settings = settings;
    this.client = new ClientID(settings.clientId());
    this.back = URI.create(settings.base() + SignOnServlet.BACK);
  }

  /** Where the browser comes back to. */
  URI back() {
    return back;
  }

  boolean isIssuer(@Nullable Issuer named) {
    return named == null || named.getValue().equals(settings.issuer().toString());
  }

  /** Where a person says who they are. */
  URI ask(State state, Nonce nonce, CodeVerifier verifier) throws SignOnFailed {
    return new AuthenticationRequest.Builder(
            ResponseType.CODE, Scope.parse(settings.claims().scope()), client, back)
        .endpointURI(known().metadata().getAuthorizationEndpointURI())
        .state(state)
        .nonce(nonce)
        .codeChallenge(verifier, CodeChallengeMethod.S256)
        .build()
        .toURI();
  }

  /** Turns a code into what the ID token says, once signature, issuer, audience and nonce hold. */
  IDTokenClaimsSet redeem(AuthorizationCode code, CodeVerifier verifier, Nonce nonce)
      throws SignOnFailed {
    Known provider = known();
    JWT token = token(provider, new AuthorizationCodeGrant(code, back, verifier));
    try {
      return provider.validator().validate(token, nonce);
    } catch (KeySourceException e) {
      throw SignOnFailed.nonsense("the provider's keys cannot be read", e);
    } catch (BadJOSEException | JOSEException e) {
      throw new SignOnFailed("the ID token does not hold", e);
    }
  }

  private JWT token(Known provider, AuthorizationCodeGrant grant) throws SignOnFailed {
    URI at = provider.metadata().getTokenEndpointURI();
    Supplier<String> secret = settings.secret();
    TokenRequest request =
        secret == null
            ? new TokenRequest.Builder(at, client, grant).build()
            : new TokenRequest.Builder(
                    at, new ClientSecretBasic(client, new Secret(secret.get())), grant)
                .build();
    HTTPRequest http = request.toHTTPRequest();
    http.setConnectTimeout(PATIENCE_MS);
    http.setReadTimeout(PATIENCE_MS);
    http.setFollowRedirects(false);
    try {
      HTTPResponse told = http.send();
      if (told.getStatusCode() >= 500) {
        throw SignOnFailed.nonsense("the provider failed over the code", null);
      }
      TokenResponse answer = OIDCTokenResponseParser.parse(told);
      if (answer.indicatesSuccess()
          && answer.toSuccessResponse() instanceof OIDCTokenResponse success
          && success.getOIDCTokens().getIDToken() != null) {
        return success.getOIDCTokens().getIDToken();
      }
      throw new SignOnFailed("the provider did not take the code", null);
    } catch (ParseException e) {
      throw SignOnFailed.nonsense("the provider's answer to the code cannot be read", e);
    } catch (IOException e) {
      throw SignOnFailed.unreachable(e);
    }
  }

  private synchronized Known known() throws SignOnFailed {
    Known already = known;
    if (already != null) {
      return already;
    }
    Instant failed = failedAt;
    if (failed != null && clock.instant().isBefore(failed.plus(REST))) {
      // Who waited behind one that was not answered is not made to wait as long again.
      throw SignOnFailed.unreachable(null);
    }
    try {
      OIDCProviderMetadata metadata =
          OIDCProviderMetadata.resolve(
              new Issuer(settings.issuer().toString()), PATIENCE_MS, PATIENCE_MS);
      if (metadata.getAuthorizationEndpointURI() == null
          || metadata.getTokenEndpointURI() == null
          || metadata.getJWKSetURI() == null) {
        throw SignOnFailed.nonsense("the provider does not say where it is asked", null);
      }
      Known asked = new Known(metadata, validator(metadata));
      known = asked;
      return asked;
    } catch (IOException e) {
      failedAt = clock.instant();
      throw SignOnFailed.unreachable(e);
    } catch (GeneralException | IllegalArgumentException e) {
      throw SignOnFailed.nonsense("what the provider says of itself cannot be used", e);
    }
  }

  private IDTokenValidator validator(OIDCProviderMetadata metadata) throws IOException {
    JWKSource<SecurityContext> keys =
        JWKSourceBuilder.create(
                metadata.getJWKSetURI().toURL(),
                new DefaultResourceRetriever(PATIENCE_MS, PATIENCE_MS, LARGEST_ANSWER))
            .refreshAheadCache(false)
            .build();
    IDTokenValidator validator =
        new IDTokenValidator(
            metadata.getIssuer(),
            client,
            new JWSVerificationKeySelector<>(
                JWSAlgorithm.parse(settings.claims().algorithm()), keys),
            null);
    validator.setMaxClockSkew(CLOCK_SKEW_SECONDS);
    return validator;
  }
}
