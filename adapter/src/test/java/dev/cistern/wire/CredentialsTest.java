// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.wire;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.config.Settings;
import dev.cistern.testing.Authority;
import dev.cistern.testing.PlainFhir;
import dev.cistern.testing.SigningKeys;
import dev.cistern.wire.Credentials.Remark;
import java.net.URI;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.attribute.PosixFilePermissions;
import java.time.Duration;
import java.time.Instant;
import java.util.List;
import org.jspecify.annotations.Nullable;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** What check says about keys and certificates. */
class CredentialsTest {
  private static final Authority HOSPITAL = new Authority("Alder Vale test authority");
  private static final Instant FROM = Instant.parse("2026-01-01T00:00:00Z");
  private static final Instant UNTIL = Instant.parse("2026-06-30T00:00:00Z");

  private @TempDir Path folder;
  private Settings.Auth auth = Settings.Auth.NONE;

  private List<Remark> remarks(@Nullable Path keystore, @Nullable Path truststore, String now) {
    return remarks("https://fhir.example/r4", keystore, truststore, now);
  }

  private List<Remark> remarks(
      String base, @Nullable Path keystore, @Nullable Path truststore, String now) {
    Settings.Fhir plain = PlainFhir.at(URI.create(base));
    Settings.Tls tls =
        new Settings.Tls(
            keystore == null ? null : new Settings.Store(keystore, () -> "secret"),
            truststore == null ? null : new Settings.Store(truststore, () -> "secret"),
            Duration.ofDays(30));
    return Credentials.check(
        new Settings.Fhir(
            plain.base(),
            plain.mode(),
            plain.bundle(),
            plain.workers(),
            plain.timeout(),
            plain.largestAnswer(),
            plain.system(),
            plain.snomed(),
            plain.derived(),
            auth,
            tls),
        Instant.parse(now));
  }

  private Path own() throws Exception {
    Path file =
        HOSPITAL
            .issue("adapter", FROM, UNTIL, "127.0.0.1")
            .keystore(folder.resolve("own.p12"), "secret");
    return Files.setPosixFilePermissions(file, PosixFilePermissions.fromString("rw-r-----"));
  }

  @Test
  void a_certificate_that_holds_for_long_is_not_spoken_of() throws Exception {
    assertThat(
            remarks(
                own(),
                HOSPITAL.truststore(folder.resolve("t.p12"), "secret"),
                "2026-03-14T08:10:00Z"))
        .isEmpty();
  }

  @Test
  void a_certificate_that_ends_soon_is_a_warning() throws Exception {
    Path own = own();
    assertThat(remarks(own, null, "2026-06-10T00:00:00Z"))
        .containsExactly(
            new Remark(
                false,
                "the certificate in " + own + " expires on 2026-06-30, in 20 days; renew it."));
    assertThat(remarks(own, null, "2026-05-31T00:00:00Z")).isEmpty();
    assertThat(remarks(own, null, "2026-05-31T00:00:01Z")).hasSize(1);
  }

  @Test
  void a_certificate_that_has_ended_or_not_begun_is_a_problem() throws Exception {
    Path own = own();
    assertThat(remarks(own, null, "2026-07-01T00:00:00Z"))
        .containsExactly(
            new Remark(true, "the certificate in " + own + " expired on 2026-06-30; renew it."));
    assertThat(remarks(own, null, "2025-12-31T00:00:00Z"))
        .containsExactly(
            new Remark(true, "the certificate in " + own + " is not valid before 2026-01-01."));
  }

  @Test
  void an_authority_that_ends_is_a_warning() throws Exception {
    Path trust = HOSPITAL.pem(folder.resolve("trust.pem"));
    assertThat(remarks(null, trust, "2100-01-01T00:00:00Z"))
        .singleElement()
        .satisfies(remark -> assertThat(remark.problem()).isFalse())
        .satisfies(remark -> assertThat(remark.words()).contains("trust.pem expired on "));
  }

  @Test
  void a_file_that_cannot_be_used_is_a_problem() throws Exception {
    assertThat(remarks(folder.resolve("none.p12"), null, "2026-03-14T08:10:00Z"))
        .singleElement()
        .satisfies(remark -> assertThat(remark.problem()).isTrue())
        .satisfies(remark -> assertThat(remark.words()).endsWith("none.p12 is not there."));
    auth = SigningKeys.auth(folder.resolve("none.pem"), "RS384", "k", null);
    assertThat(remarks(null, null, "2026-03-14T08:10:00Z"))
        .singleElement()
        .satisfies(remark -> assertThat(remark.problem()).isTrue())
        .satisfies(remark -> assertThat(remark.words()).endsWith("none.pem is not there."));
  }

  @Test
  void a_key_that_everybody_can_read_is_a_warning() throws Exception {
    Path key = SigningKeys.pem(folder.resolve("k.pem"), SigningKeys.rsa(2048).getPrivate());
    auth = SigningKeys.auth(key, "RS384", "k", null);
    Files.setPosixFilePermissions(key, PosixFilePermissions.fromString("rw-r--r--"));
    assertThat(remarks(null, null, "2026-03-14T08:10:00Z"))
        .containsExactly(
            new Remark(
                false, key + " can be read by everybody on this machine; take that right away."));
    Files.setPosixFilePermissions(key, PosixFilePermissions.fromString("rw-------"));
    assertThat(remarks(null, null, "2026-03-14T08:10:00Z")).isEmpty();
  }

  @Test
  void what_says_who_we_are_should_not_travel_readable() throws Exception {
    auth = new Settings.Written("bearer", () -> "Bearer t");
    assertThat(remarks("http://fhir.example/r4", null, null, "2026-03-14T08:10:00Z"))
        .singleElement()
        .satisfies(remark -> assertThat(remark.problem()).isFalse())
        .satisfies(remark -> assertThat(remark.words()).contains("fhir.base is not https"));
    assertThat(remarks("http://127.0.0.1:8090/r4", null, null, "2026-03-14T08:10:00Z")).isEmpty();
    assertThat(remarks("http://localhost:8090/r4", null, null, "2026-03-14T08:10:00Z")).isEmpty();
  }
}
