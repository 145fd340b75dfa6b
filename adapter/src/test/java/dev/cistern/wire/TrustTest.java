// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.wire;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.InstanceOfAssertFactories.type;

import dev.cistern.config.Settings;
import dev.cistern.testing.Authority;
import dev.cistern.testing.PlainFhir;
import dev.cistern.testing.TlsFhirServer;
import java.net.URI;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
import java.time.temporal.ChronoUnit;
import org.jspecify.annotations.Nullable;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** Two sides that show each other certificates: TLS 1.3 (RFC 8446). */
class TrustTest {
  private static final Authority HOSPITAL = new Authority("Alder Vale test authority");
  private static final Authority STRANGER = new Authority("Somebody else");

  private @TempDir Path folder;

  private Settings.Store store(Path file) {
    return new Settings.Store(file, () -> "secret");
  }

  private Path trust(Authority authority) {
    return authority.truststore(folder.resolve("trust.p12"), "secret");
  }

  private Path key(Authority.Identity identity) {
    return identity.keystore(folder.resolve("own.p12"), "secret");
  }

  private FhirHttp http(URI base, @Nullable Path keystore, @Nullable Path truststore) {
    Settings.Fhir plain = PlainFhir.at(base);
    Settings.Tls tls =
        new Settings.Tls(
            keystore == null ? null : store(keystore),
            truststore == null ? null : store(truststore),
            Duration.ofDays(30));
    return new FhirHttp(
        new Settings.Fhir(
            base,
            plain.mode(),
            plain.bundle(),
            plain.workers(),
            plain.timeout(),
            plain.largestAnswer(),
            plain.system(),
            plain.snomed(),
            plain.derived(),
            plain.auth(),
            tls),
        Clock.systemUTC());
  }

  private TlsFhirServer server(Authority.Identity identity, @Nullable Authority clients) {
    return new TlsFhirServer(identity, clients, folder);
  }

  private static String hindered(Answer answer) {
    assertThat(answer)
        .asInstanceOf(type(Answer.NotSent.class))
        .extracting(Answer.NotSent::hindrance)
        .isEqualTo(Answer.Hindrance.TLS);
    return ((Answer.NotSent) answer).why();
  }

  private static int status(Answer answer) {
    return ((Answer.Answered) answer).status();
  }

  @Test
  void both_sides_show_a_certificate_and_both_ends_are_known() throws Exception {
    Authority.Identity ours = HOSPITAL.issue("adapter");
    Authority.Identity theirs = HOSPITAL.issue("server");
    try (TlsFhirServer server = server(theirs, HOSPITAL)) {
      FhirHttp http = http(server.base(), key(ours), trust(HOSPITAL));
      assertThat(status(http.get("metadata"))).isEqualTo(200);
      assertThat(server.callers()).containsExactly("CN=adapter");
      assertThat(http.expiry().own()).isEqualTo(ours.certificate().getNotAfter().toInstant());
      assertThat(http.expiry().server()).isEqualTo(theirs.certificate().getNotAfter().toInstant());
    }
  }

  @Test
  void whom_we_trust_may_stand_in_a_pem_file() throws Exception {
    try (TlsFhirServer server = server(HOSPITAL.issue("server"), null)) {
      FhirHttp http = http(server.base(), null, HOSPITAL.pem(folder.resolve("trust.pem")));
      assertThat(status(http.get("metadata"))).isEqualTo(200);
    }
  }

  @Test
  void a_server_that_wants_a_certificate_and_gets_none_says_so() throws Exception {
    try (TlsFhirServer server = server(HOSPITAL.issue("server"), HOSPITAL)) {
      FhirHttp http = http(server.base(), null, trust(HOSPITAL));
      assertThat(hindered(http.get("metadata"))).contains("wants a certificate from us");
      assertThat(server.callers()).isEmpty();
    }
  }

  @Test
  void a_certificate_of_ours_that_the_server_does_not_trust_is_named() throws Exception {
    try (TlsFhirServer server = server(HOSPITAL.issue("server"), HOSPITAL)) {
      FhirHttp http = http(server.base(), key(STRANGER.issue("adapter")), trust(HOSPITAL));
      assertThat(hindered(http.get("metadata"))).contains("fhir.tls.keystore");
      assertThat(server.callers()).isEmpty();
    }
  }

  @Test
  void a_certificate_of_ours_that_has_expired_is_named() throws Exception {
    Instant now = Instant.now();
    Authority.Identity old =
        HOSPITAL.issue(
            "adapter", now.minus(9, ChronoUnit.DAYS), now.minus(1, ChronoUnit.DAYS), "127.0.0.1");
    try (TlsFhirServer server = server(HOSPITAL.issue("server"), HOSPITAL)) {
      FhirHttp http = http(server.base(), key(old), trust(HOSPITAL));
      assertThat(hindered(http.get("metadata"))).contains("our certificate");
      assertThat(server.callers()).isEmpty();
    }
  }

  @Test
  void a_server_whose_certificate_has_expired_is_not_spoken_to() throws Exception {
    Instant now = Instant.now();
    Authority.Identity old =
        HOSPITAL.issue(
            "server", now.minus(9, ChronoUnit.DAYS), now.minus(1, ChronoUnit.DAYS), "127.0.0.1");
    try (TlsFhirServer server = server(old, null)) {
      FhirHttp http = http(server.base(), null, trust(HOSPITAL));
      assertThat(hindered(http.get("metadata"))).contains("the server's certificate has expired");
      assertThat(server.callers()).isEmpty();
    }
  }

  @Test
  void a_server_whose_certificate_is_not_valid_yet_is_not_spoken_to() throws Exception {
    Instant now = Instant.now();
    Authority.Identity early =
        HOSPITAL.issue(
            "server", now.plus(1, ChronoUnit.DAYS), now.plus(9, ChronoUnit.DAYS), "127.0.0.1");
    try (TlsFhirServer server = server(early, null)) {
      FhirHttp http = http(server.base(), null, trust(HOSPITAL));
      assertThat(hindered(http.get("metadata"))).contains("not valid yet");
      assertThat(server.callers()).isEmpty();
    }
  }

  @Test
  void a_server_of_another_authority_is_not_spoken_to() throws Exception {
    try (TlsFhirServer server = server(STRANGER.issue("server"), null)) {
      FhirHttp http = http(server.base(), null, trust(HOSPITAL));
      assertThat(hindered(http.get("metadata"))).contains("nobody whom we trust");
      assertThat(server.callers()).isEmpty();
    }
  }

  @Test
  void a_server_with_the_certificate_of_another_host_is_not_spoken_to() throws Exception {
    Instant now = Instant.now();
    Authority.Identity other =
        HOSPITAL.issue(
            "server", now.minus(1, ChronoUnit.DAYS), now.plus(9, ChronoUnit.DAYS), "127.0.0.2");
    try (TlsFhirServer server = server(other, null)) {
      FhirHttp http = http(server.base(), null, trust(HOSPITAL));
      assertThat(hindered(http.get("metadata"))).contains("another host name");
      assertThat(server.callers()).isEmpty();
    }
  }

  @Test
  void a_certificate_is_replaced_without_a_stop() throws Exception {
    try (TlsFhirServer server = server(HOSPITAL.issue("server"), HOSPITAL)) {
      Path keystore = key(HOSPITAL.issue("adapter-2025"));
      FhirHttp http = http(server.base(), keystore, trust(HOSPITAL));
      http.get("metadata");
      key(HOSPITAL.issue("adapter-2026"));
      http.get("metadata");
      assertThat(server.callers()).containsExactly("CN=adapter-2025", "CN=adapter-2026");
    }
  }

  @Test
  void a_new_keystore_that_cannot_be_read_leaves_the_old_one_in_use() throws Exception {
    try (TlsFhirServer server = server(HOSPITAL.issue("server"), HOSPITAL)) {
      Path keystore = key(HOSPITAL.issue("adapter-2025"));
      FhirHttp http = http(server.base(), keystore, trust(HOSPITAL));
      http.get("metadata");
      Files.writeString(keystore, "half");
      assertThat(status(http.get("metadata"))).isEqualTo(200);
      Files.delete(keystore);
      assertThat(status(http.get("metadata"))).isEqualTo(200);
      key(HOSPITAL.issue("adapter-2026"));
      assertThat(status(http.get("metadata"))).isEqualTo(200);
      assertThat(server.callers())
          .containsExactly(
              "CN=adapter-2025", "CN=adapter-2025", "CN=adapter-2025", "CN=adapter-2026");
    }
  }

  @Test
  void stores_that_cannot_be_used_are_named() throws Exception {
    URI base = URI.create("https://127.0.0.1:9/fhir");
    Path own = key(HOSPITAL.issue("adapter"));
    Path rubbish = Files.writeString(folder.resolve("rubbish.p12"), "no store");
    Path other = HOSPITAL.issue("adapter").keystore(folder.resolve("other.p12"), "another");
    Path empty = Files.writeString(folder.resolve("empty.pem"), "");
    assertThat(hindered(http(base, folder.resolve("none.p12"), null).get("")))
        .contains("none.p12 is not there");
    assertThat(hindered(http(base, rubbish, null).get(""))).contains("cannot be read as PKCS #12");
    assertThat(hindered(http(base, other, null).get("")))
        .contains("does not open with its password");
    assertThat(hindered(http(base, trust(HOSPITAL), null).get(""))).contains("no private key");
    assertThat(hindered(http(base, own, empty).get(""))).contains("holds no certificate");
  }
}
