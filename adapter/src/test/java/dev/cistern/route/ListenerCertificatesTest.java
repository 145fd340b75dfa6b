// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.config.Settings;
import dev.cistern.config.SettingsFile;
import dev.cistern.console.access.BeyondLoopback;
import dev.cistern.wire.Credentials;
import dev.cistern.wire.ListenerCertificates;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Duration;
import java.time.Instant;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** What our own listeners show, and what travels readable. */
class ListenerCertificatesTest {
  @TempDir Path folder;

  private Settings settings(String http, Path keys) throws Exception {
    Path file =
        Files.writeString(
            folder.resolve("cistern.yaml"),
            """
            node: alder-vale-test
            http: { %s }
            fhir: { base: "http://127.0.0.1:9/fhir" }
            patient: { system: "urn:oid:2.999.1.1" }
            sources:
              - { name: rowan, kind: mllp, mapping: rowan-oru, port: 2575, tls: { keystore: "%s", password: "${P}" } }
            """
                .formatted(http, keys));
    return SettingsFile.read(file, Map.of("P", KeyFiles.PASSWORD));
  }

  @Test
  void each_listener_is_looked_at_and_named_when_its_certificate_ends() throws Exception {
    Path keys = KeyFiles.selfSigned(folder, "listener");
    String tls = "tls: { keystore: \"" + keys + "\", password: \"${P}\" }";
    Settings settings = settings(tls, keys);
    Map<String, Instant> ends = ListenerCertificates.ends(settings);
    assertThat(ends).containsOnlyKeys("http", "source rowan");
    Instant end = Objects.requireNonNull(ends.get("http"));
    assertThat(ListenerCertificates.check(settings, end.minus(Duration.ofDays(31)))).isEmpty();
    assertThat(ListenerCertificates.check(settings, end.minus(Duration.ofDays(29))))
        .hasSize(2)
        .noneMatch(Credentials.Remark::problem)
        .allMatch(each -> each.words().contains("expires on"));
    List<Credentials.Remark> late =
        ListenerCertificates.check(settings, end.plus(Duration.ofDays(1)));
    assertThat(late).hasSize(2).allMatch(Credentials.Remark::problem);
    assertThat(late.get(1).words()).contains("source rowan").contains("expired on");
  }

  @Test
  void a_file_that_does_not_open_is_a_problem_before_the_start() throws Exception {
    Path none = folder.resolve("none.p12");
    Settings settings = settings("port: 0", none);
    assertThat(ListenerCertificates.ends(settings)).isEmpty();
    assertThat(ListenerCertificates.check(settings, Instant.EPOCH))
        .singleElement()
        .satisfies(each -> assertThat(each.problem()).isTrue())
        .satisfies(each -> assertThat(each.words()).contains("source rowan", "none.p12"));
  }

  @Test
  void what_others_could_read_is_said_unless_tls_or_a_proxy_hides_it() throws Exception {
    Path keys = folder.resolve("any.p12");
    assertThat(BeyondLoopback.readable(settings("bind: 127.0.0.1", keys))).isEmpty();
    assertThat(BeyondLoopback.readable(settings("bind: 0.0.0.0", keys)).orElse(""))
        .contains("travels readable", "http.tls");
    String tls = "bind: 0.0.0.0, tls: { keystore: ./h.p12, password: \"${P}\" }";
    assertThat(BeyondLoopback.readable(settings(tls, keys))).isEmpty();
    Path file = folder.resolve("cistern.yaml");
    Files.writeString(
        file,
        Files.readString(file)
            .replaceFirst("(?m)^http: .*$", "http: { bind: 0.0.0.0 }\naccess: { proxy: true }"));
    Settings proxied = SettingsFile.read(file, Map.of("P", "x"));
    assertThat(BeyondLoopback.readable(proxied)).isEmpty();
  }
}
