// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.wire;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.InstanceOfAssertFactories.type;

import com.nimbusds.jose.jwk.Curve;
import com.nimbusds.jose.jwk.ECKey;
import com.nimbusds.jose.jwk.JWKSet;
import com.nimbusds.jose.jwk.RSAKey;
import com.nimbusds.jwt.JWTClaimsSet;
import com.nimbusds.jwt.SignedJWT;
import dev.cistern.config.Settings;
import dev.cistern.testing.PlainFhir;
import dev.cistern.testing.SigningKeys;
import dev.cistern.testing.TestClock;
import dev.cistern.testing.TokenServer;
import java.io.IOException;
import java.net.URI;
import java.nio.file.Files;
import java.nio.file.Path;
import java.security.KeyPair;
import java.security.interfaces.ECPublicKey;
import java.security.interfaces.RSAPublicKey;
import java.time.Duration;
import java.util.ArrayList;
import java.util.List;
import java.util.concurrent.Callable;
import java.util.concurrent.CyclicBarrier;
import java.util.concurrent.ExecutorService;
import java.util.concurrent.Executors;
import java.util.concurrent.Future;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;

/** Tokens for a signature: HL7 SMART App Launch 2.2, "Backend Services". */
class BackendTokenTest {
  private static final KeyPair RSA = SigningKeys.rsa(2048);
  private static final KeyPair EC = SigningKeys.ec("secp384r1");

  private final TestClock clock = TestClock.at("2026-03-14T08:10:00Z");
  private TokenServer server;
  private @TempDir Path folder;

  @BeforeEach
  void open() throws IOException {
    server = new TokenServer().knows("rsa-1", RSA.getPublic()).knows("ec-1", EC.getPublic());
  }

  @AfterEach
  void close() {
    server.close();
  }

  private FhirHttp http(Settings.SmartBackend auth) {
    return http(auth, Duration.ofSeconds(20));
  }

  private FhirHttp http(Settings.SmartBackend auth, Duration timeout) {
    Settings.Fhir plain = PlainFhir.at(server.base());
    return new FhirHttp(
        new Settings.Fhir(
            plain.base(),
            plain.mode(),
            plain.bundle(),
            plain.workers(),
            timeout,
            plain.largestAnswer(),
            plain.system(),
            plain.snomed(),
            plain.derived(),
            auth,
            plain.tls()),
        clock);
  }

  private Settings.SmartBackend rsa() throws IOException {
    Path file = SigningKeys.pem(folder.resolve("rsa.pem"), RSA.getPrivate());
    return SigningKeys.auth(file, "RS384", "rsa-1", server.tokenUrl());
  }

  private static int status(Answer answer) {
    return ((Answer.Answered) answer).status();
  }

  private static String hindered(Answer answer) {
    assertThat(answer)
        .asInstanceOf(type(Answer.NotSent.class))
        .extracting(Answer.NotSent::hindrance)
        .isEqualTo(Answer.Hindrance.ACCESS);
    return ((Answer.NotSent) answer).why();
  }

  @ParameterizedTest
  @CsvSource({
    "RS384, rsa-1, pem", "ES384, ec-1, pem",
    "RS384, rsa-1, jwk", "ES384, ec-1, jwk",
    "RS384, rsa-1, set", "ES384, ec-1, set",
  })
  void the_assertion_is_what_the_specification_asks_for(String algorithm, String keyId, String form)
      throws Exception {
    Path file = key(algorithm, keyId, form);
    String id = form.equals("jwk") ? null : keyId;
    FhirHttp http = http(SigningKeys.auth(file, algorithm, id, server.tokenUrl()));
    assertThat(status(http.get("metadata"))).isEqualTo(200);
    assertThat(server.shown()).containsExactly("Bearer token-1");

    assertThat(server.forms()).hasSize(1);
    assertThat(server.forms().get(0))
        .containsOnlyKeys("grant_type", "scope", "client_assertion_type", "client_assertion")
        .containsEntry("grant_type", "client_credentials")
        .containsEntry("scope", SigningKeys.SCOPE)
        .containsEntry(
            "client_assertion_type", "urn:ietf:params:oauth:client-assertion-type:jwt-bearer");
    SignedJWT assertion = server.assertions().get(0);
    assertThat(assertion.getHeader().getAlgorithm().getName()).isEqualTo(algorithm);
    assertThat(assertion.getHeader().getKeyID()).isEqualTo(keyId);
    assertThat(assertion.getHeader().getType().getType()).isEqualTo("JWT");
    JWTClaimsSet claims = assertion.getJWTClaimsSet();
    assertThat(claims.getIssuer()).isEqualTo(SigningKeys.CLIENT);
    assertThat(claims.getSubject()).isEqualTo(SigningKeys.CLIENT);
    assertThat(claims.getAudience()).containsExactly(server.tokenUrl().toString());
    assertThat(claims.getJWTID()).hasSizeGreaterThan(20);
    assertThat(claims.getExpirationTime().toInstant())
        .isAfter(clock.instant())
        .isBeforeOrEqualTo(clock.instant().plus(Duration.ofMinutes(5)));
  }

  private Path key(String algorithm, String keyId, String form) throws IOException {
    boolean rsa = algorithm.equals("RS384");
    KeyPair keys = rsa ? RSA : EC;
    if (form.equals("pem")) {
      return SigningKeys.pem(folder.resolve("key.pem"), keys.getPrivate());
    }
    RSAKey rsaKey =
        new RSAKey.Builder((RSAPublicKey) RSA.getPublic())
            .privateKey(RSA.getPrivate())
            .keyID("rsa-1")
            .build();
    ECKey ecKey =
        new ECKey.Builder(Curve.P_384, (ECPublicKey) EC.getPublic())
            .privateKey(EC.getPrivate())
            .keyID("ec-1")
            .build();
    String text =
        form.equals("jwk")
            ? (rsa ? rsaKey : ecKey).toJSONString()
            : new JWKSet(List.of(rsaKey, ecKey)).toString(false);
    assertThat(text).contains(keyId);
    return Files.writeString(folder.resolve("key.json"), text);
  }

  @Test
  void every_assertion_is_a_new_one() throws Exception {
    FhirHttp http = http(rsa());
    server.refuses(2);
    http.get("metadata");
    http.get("metadata");
    assertThat(server.assertions()).hasSizeGreaterThan(1);
    List<String> ids = new ArrayList<>();
    for (SignedJWT each : server.assertions()) {
      ids.add(each.getJWTClaimsSet().getJWTID());
    }
    assertThat(ids).doesNotHaveDuplicates();
  }

  @Test
  void eight_workers_ask_for_one_token() throws Exception {
    FhirHttp http = http(rsa());
    assertThat(together(8, () -> status(http.get("metadata")))).containsOnly(200);
    assertThat(server.forms()).hasSize(1);
    assertThat(server.shown()).hasSize(8).containsOnly("Bearer token-1");
  }

  /** All eight are refused with the old token; one asks for the next. */
  @Test
  void eight_workers_that_are_refused_ask_for_one_token() throws Exception {
    FhirHttp http = http(rsa());
    http.get("metadata");
    for (int round = 1; round <= 20; round++) {
      server.withdraws("token-" + round);
      assertThat(together(8, () -> status(http.get("metadata")))).containsOnly(200);
      assertThat(server.forms()).as("one token each time").hasSize(round + 1);
      assertThat(server.shown()).endsWith("Bearer token-" + (round + 1));
    }
  }

  private static <T> List<T> together(int threads, Callable<T> work) throws Exception {
    ExecutorService pool = Executors.newFixedThreadPool(threads);
    CyclicBarrier start = new CyclicBarrier(threads);
    try {
      List<Future<T>> running = new ArrayList<>();
      for (int i = 0; i < threads; i++) {
        running.add(
            pool.submit(
                () -> {
                  start.await();
                  return work.call();
                }));
      }
      List<T> results = new ArrayList<>();
      for (Future<T> each : running) {
        results.add(each.get());
      }
      return results;
    } finally {
      pool.shutdownNow();
    }
  }

  @Test
  void a_token_is_renewed_before_it_ends() throws Exception {
    FhirHttp http = http(rsa());
    http.get("metadata");
    assertThat(http.expiry().token()).isEqualTo(clock.instant().plusSeconds(300));
    clock.tick(Duration.ofSeconds(239));
    http.get("metadata");
    clock.tick(Duration.ofSeconds(2));
    http.get("metadata");
    assertThat(server.shown())
        .containsExactly("Bearer token-1", "Bearer token-1", "Bearer token-2");
  }

  @Test
  void a_token_that_still_holds_is_used_while_no_other_can_be_had() throws Exception {
    FhirHttp http = http(rsa());
    http.get("metadata");
    server.answers(503, null);
    clock.tick(Duration.ofSeconds(250));
    http.get("metadata");
    http.get("metadata");
    assertThat(server.shown()).hasSize(3).containsOnly("Bearer token-1");
    assertThat(server.forms()).as("it is not asked at every request").hasSize(2);
    clock.tick(Duration.ofSeconds(51));
    assertThat(hindered(http.get("metadata"))).contains("HTTP status 503");
  }

  @Test
  void a_401_brings_one_fresh_token_and_the_request_again() throws Exception {
    FhirHttp http = http(rsa());
    server.refuses(1);
    assertThat(status(http.post("", FhirHttp.FHIR_JSON, "{}"))).isEqualTo(200);
    assertThat(server.shown()).containsExactly("Bearer token-1", "Bearer token-2");
  }

  @Test
  void a_401_again_is_the_answer() throws Exception {
    FhirHttp http = http(rsa());
    server.refuses(1000);
    assertThat(status(http.get("metadata"))).isEqualTo(401);
    assertThat(server.shown()).containsExactly("Bearer token-1", "Bearer token-2");
  }

  @Test
  void a_new_key_in_the_file_signs_the_next_request() throws Exception {
    FhirHttp http = http(rsa());
    http.get("metadata");
    KeyPair next = SigningKeys.rsa(2048);
    server.knows("rsa-1", next.getPublic());
    SigningKeys.pem(folder.resolve("rsa.pem"), next.getPrivate());
    clock.tick(Duration.ofMinutes(6));
    assertThat(status(http.get("metadata"))).isEqualTo(200);
    assertThat(server.assertions()).hasSize(2);
  }

  @Test
  void the_server_is_asked_where_tokens_are_given() throws Exception {
    Path file = SigningKeys.pem(folder.resolve("rsa.pem"), RSA.getPrivate());
    FhirHttp http = http(SigningKeys.auth(file, "RS384", "rsa-1", null));
    assertThat(status(http.get("metadata"))).isEqualTo(200);
    assertThat(server.assertions().get(0).getJWTClaimsSet().getAudience())
        .containsExactly(server.tokenUrl().toString());
  }

  @Test
  void a_server_that_does_not_say_where_is_a_hindrance_that_says_what_to_do() throws Exception {
    server.undiscoverable();
    Path file = SigningKeys.pem(folder.resolve("rsa.pem"), RSA.getPrivate());
    FhirHttp http = http(SigningKeys.auth(file, "RS384", "rsa-1", null));
    assertThat(hindered(http.get("metadata")))
        .contains(".well-known/smart-configuration", "404", "fhir.auth.tokenUrl");
  }

  @ParameterizedTest
  @CsvSource(
      delimiter = '|',
      value = {
        "400 | {\"error\":\"invalid_client\",\"error_description\":\"mr x\"} | refuses us (invalid_client)",
        "401 | {\"error\":\"invalid_scope\"}                     | refuses us (invalid_scope)",
        "400 | {\"error\":\"<b>Not a code</b>\"}                 | gave no token: HTTP status 400",
        "503 | busy                                             | gave no token: HTTP status 503",
        "302 | ''                                               | gave no token: HTTP status 302",
        "200 | <html>Sign in</html>                             | with no token",
        "200 | {\"access_token\":\"two words\"}                 | with no token",
        "200 | {\"access_token\":\"t\",\"token_type\":\"mac\"}   | no bearer token",
      })
  void what_the_token_endpoint_says_is_a_hindrance_in_words(int status, String body, String words)
      throws Exception {
    FhirHttp http = http(rsa());
    server.answers(status, body);
    assertThat(hindered(http.get("metadata")))
        .contains(words)
        .doesNotContain("mr x", "<b>", "Sign in", "two words");
    assertThat(server.shown()).as("nothing was sent without a token").isEmpty();
    server.answers(200, null);
    assertThat(status(http.get("metadata"))).isEqualTo(200);
  }

  @Test
  void a_token_endpoint_that_refuses_connections_is_a_hindrance() throws Exception {
    URI gone;
    try (TokenServer other = new TokenServer()) {
      gone = other.tokenUrl();
    }
    Path file = SigningKeys.pem(folder.resolve("rsa.pem"), RSA.getPrivate());
    FhirHttp http = http(SigningKeys.auth(file, "RS384", "rsa-1", gone));
    assertThat(hindered(http.get("metadata"))).contains("does not answer", "refused");
  }

  @ParameterizedTest
  @CsvSource(
      delimiter = '|',
      value = {
        "absent    | RS384 | rsa-1 | is not there",
        "rubbish   | RS384 | rsa-1 | RS384 needs a private RSA key",
        "json      | RS384 | rsa-1 | holds no private key for RS384",
        "public    | RS384 | rsa-1 | RS384 needs a private RSA key",
        "rsa       | ES384 | rsa-1 | holds no private key for ES384",
        "short     | RS384 | rsa-1 | shorter than 2048 bits",
        "otherCurve| ES384 | ec-1  | on the curve P-384",
        "rsa       | RS384 |       | set fhir.auth.keyId",
      })
  void a_key_that_cannot_sign_is_a_hindrance_that_says_why(
      String what, String algorithm, String keyId, String words) throws Exception {
    Path file = folder.resolve("key");
    switch (what) {
      case "rubbish" -> Files.writeString(file, "no key");
      case "json" -> Files.writeString(file, "{\"kty\":\"RSA\"}");
      case "public" ->
          Files.writeString(
              file, new RSAKey.Builder((RSAPublicKey) RSA.getPublic()).build().toJSONString());
      case "rsa" -> SigningKeys.pem(file, RSA.getPrivate());
      case "short" -> SigningKeys.pem(file, SigningKeys.rsa(1024).getPrivate());
      case "otherCurve" -> SigningKeys.pem(file, SigningKeys.ec("secp256r1").getPrivate());
      default -> assertThat(file).doesNotExist();
    }
    FhirHttp http = http(SigningKeys.auth(file, algorithm, keyId, server.tokenUrl()));
    assertThat(hindered(http.get("metadata"))).contains(words);
    assertThat(server.forms()).isEmpty();
  }

  @Test
  void nothing_that_is_secret_is_in_a_text() throws Exception {
    Settings.SmartBackend auth = rsa();
    TokenEndpoint endpoint =
        new TokenEndpoint(server.base(), auth, new Wire(PlainFhir.at(server.base())), clock);
    assertThat(endpoint.fetch().toString()).contains("until").doesNotContain("token-1");
    assertThat(SigningKey.read(auth).toString()).isEqualTo("SigningKey[rsa-1, RS384]");
  }
}
