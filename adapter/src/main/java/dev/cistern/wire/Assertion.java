// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.wire;

import com.nimbusds.jose.JOSEException;
import com.nimbusds.jose.JOSEObjectType;
import com.nimbusds.jose.JWSHeader;
import com.nimbusds.jwt.JWTClaimsSet;
import com.nimbusds.jwt.SignedJWT;
import dev.cistern.config.Settings;
import java.net.URI;
import java.time.Duration;
import java.time.Instant;
import java.util.Date;
import java.util.List;
import java.util.UUID;
import org.jspecify.annotations.Nullable;

/**
 * What we say about ourselves to the token endpoint, signed with our key (HL7 SMART App Launch 2.2,
 * "Client Authentication: Asymmetric"; RFC 7523, section 3). Used by one thread at a time.
 */
final class Assertion {
  /** The specification allows five minutes at most; the clocks may differ by some. */
  static final Duration HOLDS = Duration.ofMinutes(4);

  private final Settings.SmartBackend settings;
  private @Nullable SigningKey key;
  private @Nullable FileStamp stamp;

  Assertion(Settings.SmartBackend settings) {
    this.settings = settings;
  }

  /** A new one, good for one request. */
  String signed(URI audience, Instant now) throws NoAccess {
    SigningKey signing = key();
    SignedJWT assertion =
        new SignedJWT(
            new JWSHeader.Builder(signing.algorithm())
                .type(JOSEObjectType.JWT)
                .keyID(signing.id())
                .build(),
            new JWTClaimsSet.Builder()
                .issuer(settings.clientId())
                .subject(settings.clientId())
                .audience(audience.toString())
                .issueTime(Date.from(now))
                .expirationTime(Date.from(now.plus(HOLDS)))
                .jwtID(UUID.randomUUID().toString())
                .build());
    try {
      assertion.sign(signing.signer());
      return assertion.serialize();
    } catch (JOSEException e) {
      throw new NoAccess("the key in " + settings.key() + " cannot sign", e);
    }
  }

  /** Read again when its file changes: the next token is asked for with the new key. */
  private SigningKey key() throws NoAccess {
    FileStamp now = FileStamp.of(List.of(settings.key()));
    SigningKey known = key;
    if (known == null || !now.equals(stamp)) {
      known = SigningKey.read(settings);
      key = known;
      stamp = now;
    }
    return known;
  }
}
