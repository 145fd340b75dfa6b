// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import static org.assertj.core.api.Assertions.assertThat;

import java.io.ByteArrayInputStream;
import java.io.InputStream;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** The commands account and token. */
class AccountsTest {
  private static final String PASSWORD = "five herons over the weir";

  @TempDir Path folder;
  private String config = "";

  @BeforeEach
  void settings() throws Exception {
    Files.createDirectories(folder.resolve("mappings"));
    Files.copy(
        Path.of("../mappings/bedside-form.yaml"), folder.resolve("mappings/bedside-form.yaml"));
    config =
        Files.writeString(
                folder.resolve("cistern.yaml"),
                """
                node: alder-vale-test
                fhir: { base: "http://127.0.0.1:1/fhir" }
                patient: { system: "urn:oid:2.999.1.1" }
                sources:
                  - { name: bedside, kind: form, mapping: bedside-form }
                """)
            .toString();
  }

  private Spoken say(String... words) {
    return saying("", words);
  }

  private Spoken saying(String input, String... words) {
    InputStream before = System.in;
    try {
      System.setIn(new ByteArrayInputStream(input.getBytes(StandardCharsets.UTF_8)));
      String[] all = java.util.Arrays.copyOf(words, words.length + 4);
      System.arraycopy(new String[] {"--config", config, "--as", "root"}, 0, all, words.length, 4);
      return Spoken.by(all);
    } finally {
      System.setIn(before);
    }
  }

  private String trail() {
    return say("trail").out();
  }

  @Test
  void an_account_is_made_with_a_password_from_standard_input() {
    Spoken added =
        saying(PASSWORD + "\n", "account", "add", "a.ash", "--role", "view", "--role", "map");
    assertThat(added.code()).isEqualTo(Exit.DONE);
    assertThat(added.out()).isEqualTo("a.ash  view, map\n");
    assertThat(say("account", "list", "--json").only().path("roles").toString())
        .isEqualTo("[\"view\",\"map\"]");
    assertThat(trail())
        .contains("user root  account-added", "a.ash", "view map")
        .doesNotContain("herons");
  }

  @Test
  void no_account_is_made_without_a_password_or_with_a_short_one() {
    assertThat(saying("", "account", "add", "a.ash").err())
        .contains("no password on standard input");
    assertThat(saying("short\n", "account", "add", "a.ash").err()).contains("fewer than 12");
    assertThat(say("account", "list").out()).isEmpty();
  }

  @Test
  void wrong_names_and_roles_are_told_apart() {
    assertThat(saying(PASSWORD, "account", "add", "A Ash").err()).contains("lower-case letters");
    Spoken role = saying(PASSWORD, "account", "add", "a.ash", "--role", "king");
    assertThat(role.code()).isEqualTo(Exit.USAGE);
    assertThat(role.err()).contains("view, map, operate, audit");
    assertThat(say("account", "lock", "n.oak").err()).contains("no account of this name");
    saying(PASSWORD, "account", "add", "a.ash");
    assertThat(saying(PASSWORD, "account", "add", "a.ash").err()).contains("already");
  }

  @Test
  void roles_lock_password_and_removal_are_on_the_trail() {
    saying(PASSWORD, "account", "add", "a.ash");
    assertThat(say("account", "role", "a.ash", "--role", "audit").out())
        .isEqualTo("a.ash  audit\n");
    assertThat(say("account", "lock", "a.ash").out()).isEqualTo("a.ash  audit  locked\n");
    assertThat(say("account", "unlock", "a.ash").out()).isEqualTo("a.ash  audit\n");
    assertThat(saying("six herons over the weir", "account", "password", "a.ash").code()).isZero();
    assertThat(say("account", "remove", "a.ash").out()).isEqualTo("a.ash  removed\n");
    assertThat(say("account", "list").out()).isEmpty();
    assertThat(trail())
        .contains(
            "account-added",
            "account-roles",
            "account-locked",
            "account-unlocked",
            "account-password",
            "account-removed");
  }

  @Test
  void a_token_is_shown_once_and_only_its_hash_is_kept() throws Exception {
    Spoken added = say("token", "add", "ward-tablet", "--source", "bedside");
    String token = added.out().strip();
    assertThat(token).hasSize(43);
    assertThat(say("token", "list").out()).isEqualTo("ward-tablet  bedside  never used\n");
    assertThat(say("token", "add", "ward-tablet").err()).contains("used for a token before");
    assertThat(say("token", "add", "other", "--source", "nowhere").err())
        .contains("no source nowhere");
    assertThat(say("token", "revoke", "ward-tablet").code()).isZero();
    assertThat(say("token", "revoke", "ward-tablet").err()).contains("no token of this name");
    assertThat(trail()).contains("token-added", "token-revoked").doesNotContain(token);
    try (var files = Files.walk(folder.resolve("data"))) {
      for (Path file : files.filter(Files::isRegularFile).toList()) {
        assertThat(new String(Files.readAllBytes(file), StandardCharsets.ISO_8859_1))
            .doesNotContain(token);
      }
    }
  }

  @Test
  void a_group_of_commands_says_which_there_are() {
    assertThat(Spoken.by("account").code()).isEqualTo(Exit.USAGE);
    assertThat(Spoken.by("account").err()).contains("unlock");
    assertThat(Spoken.by("account", "add", "--help").out()).contains("Example");
  }
}
