// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;

import com.nimbusds.jose.JOSEException;
import com.nimbusds.jose.JWSAlgorithm;
import com.nimbusds.jose.JWSHeader;
import com.nimbusds.jose.crypto.MACSigner;
import com.nimbusds.jwt.JWTClaimsSet;
import com.nimbusds.jwt.PlainJWT;
import com.nimbusds.jwt.SignedJWT;
import dev.cistern.config.SettingsFile;
import dev.cistern.console.access.Secret;
import dev.cistern.ledger.Account;
import dev.cistern.ledger.Role;
import dev.cistern.testing.OidcProvider;
import dev.cistern.yaml.YamlProblems;
import java.net.URI;
import java.net.http.HttpClient;
import java.net.http.HttpRequest;
import java.net.http.HttpResponse;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Instant;
import java.util.ArrayList;
import java.util.Date;
import java.util.List;
import java.util.Locale;
import java.util.Map;
import java.util.function.Consumer;
import java.util.stream.Stream;
import org.assertj.core.api.Assertions;
import org.junit.jupiter.api.AfterAll;
import org.junit.jupiter.api.BeforeAll;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.Arguments;
import org.junit.jupiter.params.provider.MethodSource;

/** Signing in elsewhere: who gets in, as what, and who does not. */
class SignOnTest {
  private static final HttpClient HTTP = HttpClient.newHttpClient();
  private static final String BASE = "http://127.0.0.1:9";
  private static final String OIDC =
      """
      access:
        oidc:
          issuer: "%s"
          base: %s
          clientId: %s
          clientSecret: "${STORE_PASSWORD}"
          rolesClaim: groups
          roles:
            - { value: nurses, role: operate }
            - { value: auditors, role: audit }
          words: "your Alder Vale account"
      """;

  @TempDir static Path folder;

  @SuppressWarnings("NullAway.Init")
  private static Site site;

  @SuppressWarnings("NullAway.Init")
  private static OidcProvider provider;

  @BeforeAll
  static void start() throws Exception {
    provider = new OidcProvider(KeyFiles.PASSWORD);
    site = Site.startWith(folder, OIDC.formatted(provider.issuer(), BASE, OidcProvider.CLIENT));
    AccessTest.account(site.plant, "l.local", Role.VIEW);
  }

  @AfterAll
  static void stop() {
    if (site != null) {
      site.close();
    }
    if (provider != null) {
      provider.close();
    }
  }

  private static void waiting(String name) {
    site.plant
        .ledger()
        .accounts()
        .add("user root", Account.elsewhere(name, Instant.now(), Secret.fresh()));
  }

  private static Account account(String name) {
    return site.plant.ledger().accounts().find(name).orElseThrow();
  }

  private static HttpResponse<String> get(String address, String cookie) throws Exception {
    HttpRequest.Builder request = HttpRequest.newBuilder(URI.create(address));
    if (!cookie.isEmpty()) {
      request.header("Cookie", cookie);
    }
    return HTTP.send(request.build(), HttpResponse.BodyHandlers.ofString());
  }

  private static String location(HttpResponse<String> answer) {
    return answer.headers().firstValue("Location").orElseThrow();
  }

  private static String cookie(HttpResponse<String> answer, String name) {
    return answer.headers().allValues("Set-Cookie").stream()
        .filter(each -> each.startsWith(name + "=") && !each.startsWith(name + "=;"))
        .map(each -> each.substring(0, each.indexOf(';')))
        .findFirst()
        .orElse("");
  }

  /** The way out: what the browser holds, and where the provider sent it back to. */
  private record Way(String cookie, String back) {}

  private static Way out() throws Exception {
    HttpResponse<String> there =
        get(site.adapter.address() + "/sign-in/with?to=%2Frejected%3Furgent%3D1", "");
    assertThat(there.statusCode()).isEqualTo(302);
    assertThat(location(there))
        .startsWith(provider.issuer())
        .contains("code_challenge_method=S256");
    assertThat(String.join(" ", there.headers().allValues("Set-Cookie")).toLowerCase(Locale.ROOT))
        .contains("httponly", "samesite=lax");
    String back = location(get(location(there), ""));
    assertThat(back).startsWith(BASE + "/sign-in/back?");
    return new Way(cookie(there, "cistern-way"), back.replace(BASE, site.adapter.address()));
  }

  private static HttpResponse<String> signIn() throws Exception {
    Way way = out();
    return get(way.back(), way.cookie());
  }

  private static List<String> events() {
    List<String> events = new ArrayList<>();
    site.plant
        .ledger()
        .trail(null, null, e -> events.add(e.event() + " by " + e.actor() + ": " + e.detail()));
    return events;
  }

  private static void refused(HttpResponse<String> answer, String why) {
    assertThat(answer.statusCode()).isEqualTo(401);
    assertThat(cookie(answer, "cistern")).isEmpty();
    assertThat(answer.body()).contains("You are not signed in");
    assertThat(events())
        .last()
        .asString()
        .startsWith("sign-in-failed by node alder-vale-test: single sign-on: ")
        .contains(why);
  }

  @Test
  void who_is_known_elsewhere_gets_in_as_what_the_groups_say_and_it_is_on_the_trail()
      throws Exception {
    waiting("n.oak");
    provider.at("sub-oak", "N.Oak", List.of("nurses", "choir"));
    HttpResponse<String> in = signIn();
    assertThat(in.statusCode()).isEqualTo(200);
    assertThat(in.headers().firstValue("Refresh")).hasValue("0; url=/rejected?urgent=1");
    assertThat(get(site.adapter.address() + "/rejected", cookie(in, "cistern")).statusCode())
        .isEqualTo(200);
    assertThat(account("n.oak").roles()).containsExactly(Role.OPERATE);
    assertThat(events())
        .anyMatch(event -> event.startsWith("account-bound by node") && event.contains("n.oak"))
        .anyMatch(event -> event.startsWith("account-roles by node") && event.contains("operate"))
        .endsWith("signed-in by account n.oak: n.oak");

    provider.at("sub-oak", "another-name", List.of("auditors"));
    String again = cookie(signIn(), "cistern");
    assertThat(account("n.oak").roles()).containsExactly(Role.AUDIT);
    assertThat(get(site.adapter.address() + "/trail", again).statusCode()).isEqualTo(200);

    provider.at("sub-oak", "n.oak", List.of());
    assertThat(get(site.adapter.address() + "/", cookie(signIn(), "cistern")).statusCode())
        .isEqualTo(403);
  }

  @Test
  void nobody_gets_an_account_by_signing_in() throws Exception {
    int before = site.plant.ledger().accounts().list().size();
    provider.at("sub-stranger", "s.stranger", List.of("nurses"));
    refused(signIn(), "no account waits");
    assertThat(site.plant.ledger().accounts().list()).hasSize(before);
  }

  @Test
  void an_account_with_a_password_here_is_never_taken_over() throws Exception {
    provider.at("sub-thief", "l.local", List.of("nurses"));
    refused(signIn(), "no account waits");
    assertThat(account("l.local").roles()).containsExactly(Role.VIEW);
  }

  @Test
  void a_name_that_went_to_somebody_else_opens_nothing() throws Exception {
    waiting("r.yew");
    provider.at("sub-first", "r.yew", List.of("nurses"));
    assertThat(signIn().statusCode()).isEqualTo(200);
    provider.at("sub-second", "r.yew", List.of("nurses"));
    refused(signIn(), "no account waits");
  }

  @Test
  void a_lock_holds_and_no_password_opens_such_an_account() throws Exception {
    waiting("k.fir");
    provider.at("sub-fir", "k.fir", List.of("nurses"));
    assertThat(signIn().statusCode()).isEqualTo(200);
    HttpResponse<String> local =
        HTTP.send(
            HttpRequest.newBuilder(URI.create(site.adapter.address() + "/sign-in"))
                .header("Content-Type", Site.TYPE)
                .POST(HttpRequest.BodyPublishers.ofString("name=k.fir&password="))
                .build(),
            HttpResponse.BodyHandlers.ofString());
    assertThat(local.statusCode()).isEqualTo(401);
    site.plant
        .ledger()
        .accounts()
        .change("user root", "k.fir", "account-locked", a -> a.withLock(true, "2"));
    refused(signIn(), "locked");
  }

  static Stream<Arguments> lies() {
    return Stream.of(
        lie("another nonce", p -> p.says(c -> c.claim("nonce", "another"))),
        lie("no nonce", p -> p.says(c -> c.claim("nonce", null))),
        lie("another audience", p -> p.says(c -> c.audience("somebody-else"))),
        lie("another issuer", p -> p.says(c -> c.issuer("https://elsewhere.example"))),
        lie("expired", p -> p.says(c -> c.expirationTime(ago()).issueTime(ago()))),
        lie("no signature", p -> p.writes(claims -> new PlainJWT(claims).serialize())),
        lie("a signature with the secret", p -> p.writes(SignOnTest::withTheSecret)),
        lie(
            "another key of the same name",
            p ->
                p.writes(
                    claims ->
                        OidcProvider.signed(claims, OidcProvider.fresh(p.key().getKeyID())))));
  }

  private static Arguments lie(String name, Consumer<OidcProvider> told) {
    return Arguments.of(name, told);
  }

  private static Date ago() {
    return Date.from(Instant.now().minusSeconds(3600));
  }

  private static String withTheSecret(JWTClaimsSet claims) {
    try {
      SignedJWT token = new SignedJWT(new JWSHeader(JWSAlgorithm.HS256), claims);
      token.sign(new MACSigner((KeyFiles.PASSWORD + "0".repeat(32)).substring(0, 32)));
      return token.serialize();
    } catch (JOSEException e) {
      throw new IllegalStateException(e);
    }
  }

  @ParameterizedTest(name = "{0}")
  @MethodSource("lies")
  void a_token_that_does_not_hold_opens_nothing(String name, Consumer<OidcProvider> told)
      throws Exception {
    provider.at("sub-oak", "n.oak", List.of("nurses"));
    told.accept(provider);
    refused(signIn(), "the ID token does not hold");
  }

  @Test
  void the_way_back_belongs_to_the_browser_that_went_out_and_is_used_once() throws Exception {
    waiting("w.ash");
    provider.at("sub-ash", "w.ash", List.of("nurses"));
    Way way = out();
    refused(get(way.back(), "cistern-way=another"), "does not belong");
    refused(get(way.back(), way.cookie()), "does not belong");
    Way other = out();
    String forged = other.back().replaceAll("state=[^&]*", "state=another");
    refused(get(forged, other.cookie()), "does not belong");
    refused(get(site.adapter.address() + "/sign-in/back", ""), "single sign-on");
    refused(get(site.adapter.address() + "/sign-in/back?error=access_denied", ""), "belong");
    Way whole = out();
    assertThat(get(whole.back(), whole.cookie()).statusCode()).isEqualTo(200);
    refused(get(whole.back(), whole.cookie()), "does not belong");
  }

  @Test
  void another_key_of_the_provider_is_learned() throws Exception {
    waiting("m.elm");
    provider.at("sub-elm", "m.elm", List.of("nurses"));
    assertThat(signIn().statusCode()).isEqualTo(200);
    provider.rotate();
    assertThat(signIn().statusCode()).isEqualTo(200);
  }

  @Test
  void the_page_offers_both_ways() throws Exception {
    assertThat(get(site.adapter.address() + "/sign-in", "").body())
        .contains("Sign in with your Alder Vale account", "name=\"password\"");
  }

  @Test
  void settings_without_encryption_or_with_a_written_secret_are_refused(@TempDir Path other)
      throws Exception {
    Path file =
        Files.writeString(
            other.resolve("cistern.yaml"),
            """
            node: alder-vale-test
            fhir: { base: "http://127.0.0.1:1/fhir" }
            patient: { system: "urn:oid:2.999.1.1" }
            access:
              oidc:
                issuer: http://login.example
                base: https://cistern.example
                clientId: cistern
                clientSecret: written-here
            sources:
              - { name: bedside, kind: form, mapping: bedside-form }
            """);
    Assertions.assertThatThrownBy(() -> SettingsFile.read(file, Map.of()))
        .isInstanceOf(YamlProblems.class)
        .hasMessageContaining("has to be https")
        .hasMessageContaining("a secret must not stand in this file");
  }
}
