// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.plant;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.config.SecretFiles;
import dev.cistern.config.Settings;
import dev.cistern.config.SettingsFile;
import dev.cistern.ledger.Ledger;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.attribute.PosixFilePermissions;
import java.time.Clock;
import java.util.Map;
import java.util.Random;
import java.util.stream.Stream;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

class PrivateFolderTest {
  @TempDir Path folder;

  private Settings settings(String secret) throws Exception {
    return settings(secret, "");
  }

  private Settings settings(String secret, String more) throws Exception {
    Path file =
        Files.writeString(
            folder.resolve("cistern.yaml"),
            """
            node: alder-vale-test
            data: ./state/data
            mappings: "%s"
            fhir: { base: "http://127.0.0.1:9/fhir", auth: { kind: bearer, token: "%s" } }
            patient: { system: "urn:oid:2.999.1.1" }
            sources:
              - { name: elm-ward, kind: folder, mapping: elm-ward-export, path: ./in }
            %s
            """
                .formatted(Path.of("../mappings").toAbsolutePath().normalize(), secret, more));
    return SettingsFile.read(file, Map.of("SECRET", "x"));
  }

  private static String mode(Path path) throws Exception {
    return PosixFilePermissions.toString(Files.getPosixFilePermissions(path));
  }

  @Test
  void the_folder_of_the_ledger_is_made_for_its_owner_alone() throws Exception {
    Settings settings = settings("${SECRET}");
    try (Plant plant = Plant.open(settings, Clock.systemUTC(), new Random(1))) {
      assertThat(plant.ledger().writable("test")).isTrue();
      assertThat(mode(settings.data())).isEqualTo("rwx------");
      try (Stream<Path> files = Files.list(settings.data())) {
        assertThat(files).isNotEmpty().allSatisfy(f -> assertThat(mode(f)).isEqualTo("rw-------"));
      }
    }
    assertThat(PrivateFolder.remarks(Stream.of(settings.data()))).isEmpty();
  }

  @Test
  void a_folder_that_was_there_is_left_as_it_is_and_its_ledger_is_closed() throws Exception {
    Settings settings = settings("${SECRET}");
    Files.createDirectories(settings.data());
    Files.setPosixFilePermissions(settings.data(), PosixFilePermissions.fromString("rwxr-x---"));
    Plant.open(settings, Clock.systemUTC(), new Random(1)).close();
    assertThat(mode(settings.data())).isEqualTo("rwxr-x---");
    assertThat(mode(settings.data().resolve(Ledger.FILE))).isEqualTo("rw-------");
    assertThat(PrivateFolder.remarks(Stream.of(settings.data()))).hasSize(1);
  }

  @Test
  void a_secret_that_others_can_read_is_named_without_its_content() throws Exception {
    Path secret = Files.writeString(folder.resolve("token"), "open-sesame");
    Files.setPosixFilePermissions(secret, PosixFilePermissions.fromString("rw-r--r--"));
    Settings settings = settings("${file:token}");
    assertThat(SecretFiles.of(settings)).containsExactly(secret);
    assertThat(PrivateFolder.remarks(SecretFiles.of(settings)))
        .singleElement()
        .asString()
        .startsWith(secret.toString())
        .contains("chmod")
        .doesNotContain("sesame");
    Files.setPosixFilePermissions(secret, PosixFilePermissions.fromString("rw-------"));
    assertThat(PrivateFolder.remarks(SecretFiles.of(settings))).isEmpty();
  }

  @Test
  void the_key_of_our_own_listener_is_a_secret_too() throws Exception {
    Path keys = Files.writeString(folder.resolve("http.p12"), "keys");
    Settings settings =
        settings("${SECRET}", "http: { tls: { keystore: http.p12, password: \"${SECRET}\" } }");
    assertThat(SecretFiles.of(settings)).containsExactly(keys);
  }
}
