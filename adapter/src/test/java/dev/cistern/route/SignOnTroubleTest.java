// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;

import com.sun.net.httpserver.HttpHandler;
import dev.cistern.console.access.Secret;
import dev.cistern.ledger.Account;
import dev.cistern.ledger.Role;
import dev.cistern.testing.OidcProvider;
import java.net.URI;
import java.net.URLEncoder;
import java.net.http.HttpClient;
import java.net.http.HttpRequest;
import java.net.http.HttpResponse;
import java.nio.charset.StandardCharsets;
import java.nio.file.Path;
import java.time.Instant;
import java.util.ArrayList;
import java.util.List;
import java.util.concurrent.CountDownLatch;
import java.util.stream.Stream;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.Arguments;
import org.junit.jupiter.params.provider.MethodSource;

/** The place where people sign in is away, slow, or talks nonsense: nobody is locked out by it. */
class SignOnTroubleTest {
  private static final HttpClient HTTP = HttpClient.newHttpClient();
  private static final String DISCOVERY = "/.well-known/openid-configuration";
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
          roles: [ { value: nurses, role: view } ]
          words: "your Alder Vale account"
      """;

  @TempDir Path folder;
  private OidcProvider provider;
  private Site site;

  @BeforeEach
  void start() throws Exception {
    provider = new OidcProvider(KeyFiles.PASSWORD);
    site = Site.startWith(folder, OIDC.formatted(provider.issuer(), BASE, OidcProvider.CLIENT));
    AccessTest.account(site.plant, "l.local", Role.VIEW);
    site.plant
        .ledger()
        .accounts()
        .add("user root", Account.elsewhere("n.oak", Instant.now(), Secret.fresh()));
    provider.at("sub-oak", "n.oak", List.of("nurses"));
  }

  @AfterEach
  void stop() {
    site.close();
    provider.close();
  }

  private static HttpResponse<String> get(String address, String cookie) throws Exception {
    HttpRequest.Builder request = HttpRequest.newBuilder(URI.create(address));
    if (!cookie.isEmpty()) {
      request.header("Cookie", cookie);
    }
    return HTTP.send(request.build(), HttpResponse.BodyHandlers.ofString());
  }

  private HttpResponse<String> there() throws Exception {
    return get(site.adapter.address() + "/sign-in/with?to=%2F", "");
  }

  /** The whole way, as far as it leads. */
  private HttpResponse<String> signIn() throws Exception {
    HttpResponse<String> there = there();
    if (there.statusCode() != 302) {
      return there;
    }
    String cookie =
        there.headers().allValues("Set-Cookie").stream()
            .map(each -> each.substring(0, each.indexOf(';')))
            .findFirst()
            .orElseThrow();
    String way = there.headers().firstValue("Location").orElseThrow();
    String back = get(way, "").headers().firstValue("Location").orElseThrow();
    return get(back.replace(BASE, site.adapter.address()), cookie);
  }

  /** The page says what is the matter and what to do, and a local account gets in meanwhile. */
  private void away(HttpResponse<String> answer, String why) throws Exception {
    assertThat(answer.statusCode()).isEqualTo(503);
    assertThat(answer.body())
        .contains(
            "You are not signed in",
            "Try again in",
            "account with a password here signs in below",
            "downtime procedure",
            "name=\"password\"");
    List<String> failed = new ArrayList<>();
    site.plant.ledger().trail(null, null, e -> failed.add(e.event() + ": " + e.detail()));
    assertThat(failed).last().asString().startsWith("sign-in-failed").contains(why);
    aLocalAccountGetsIn();
  }

  private void aLocalAccountGetsIn() throws Exception {
    String form =
        "name=l.local&password=" + URLEncoder.encode(AccessTest.PASSWORD, StandardCharsets.UTF_8);
    HttpResponse<String> local =
        HTTP.send(
            HttpRequest.newBuilder(URI.create(site.adapter.address() + "/sign-in"))
                .header("Content-Type", Site.TYPE)
                .POST(HttpRequest.BodyPublishers.ofString(form))
                .build(),
            HttpResponse.BodyHandlers.ofString());
    assertThat(local.statusCode()).isEqualTo(302);
    assertThat(local.headers().firstValue("Location")).hasValue("/");
  }

  static Stream<Arguments> nonsense() {
    HttpHandler page = OidcProvider.answering(200, "<html>maintenance</html>");
    return Stream.of(
        Arguments.of("a page in place of what it says of itself", DISCOVERY, page, "of itself"),
        Arguments.of(
            "an error in place of what it says of itself",
            DISCOVERY,
            OidcProvider.answering(500, "{}"),
            "the provider cannot be asked"),
        Arguments.of(
            "another issuer",
            DISCOVERY,
            OidcProvider.answering(
                200,
                "{\"issuer\":\"https://elsewhere.example\",\"subject_types_supported\":[\"public\"],"
                    + "\"jwks_uri\":\"https://elsewhere.example/keys\"}"),
            "of itself"),
        Arguments.of("a page in place of a token", "/token", page, "cannot be read"),
        Arguments.of(
            "an error in place of a token",
            "/token",
            OidcProvider.answering(502, "<html>bad gateway</html>"),
            "failed over the code"),
        Arguments.of("a page in place of keys", "/keys", page, "keys cannot be read"),
        Arguments.of(
            "an error in place of keys",
            "/keys",
            OidcProvider.answering(500, "{}"),
            "keys cannot be read"));
  }

  @ParameterizedTest(name = "{0}")
  @MethodSource("nonsense")
  void nonsense_is_the_providers_fault_and_all_is_well_once_it_is_over(
      String name, String path, HttpHandler told, String why) throws Exception {
    provider.instead(path, told);
    away(signIn(), why);
    provider.asItShould();
    org.awaitility.Awaitility.await()
        .untilAsserted(() -> assertThat(signIn().statusCode()).isEqualTo(200));
  }

  @Test
  void a_provider_that_is_gone_is_said_to_be_and_local_accounts_work() throws Exception {
    provider.close();
    away(there(), "the provider cannot be asked");
  }

  @Test
  void a_provider_that_does_not_answer_is_given_up_and_who_waits_behind_is_not_kept()
      throws Exception {
    CountDownLatch test = new CountDownLatch(1);
    CountDownLatch asked = new CountDownLatch(1);
    provider.instead(
        DISCOVERY,
        exchange -> {
          asked.countDown();
          try {
            test.await();
          } catch (InterruptedException e) {
            Thread.currentThread().interrupt();
          }
          exchange.close();
        });
    try {
      var first =
          HTTP.sendAsync(
              HttpRequest.newBuilder(URI.create(site.adapter.address() + "/sign-in/with")).build(),
              HttpResponse.BodyHandlers.ofString());
      asked.await();
      aLocalAccountGetsIn();
      var second =
          HTTP.sendAsync(
              HttpRequest.newBuilder(URI.create(site.adapter.address() + "/sign-in/with")).build(),
              HttpResponse.BodyHandlers.ofString());
      assertThat(second.join().statusCode()).isEqualTo(503);
      away(first.join(), "the provider cannot be asked");
    } finally {
      test.countDown();
    }
  }
}
