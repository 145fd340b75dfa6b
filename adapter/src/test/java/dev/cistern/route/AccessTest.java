// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatCode;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import dev.cistern.config.SettingsFile;
import dev.cistern.console.access.BeyondLoopback;
import dev.cistern.console.access.Passwords;
import dev.cistern.console.access.Secret;
import dev.cistern.ledger.Account;
import dev.cistern.ledger.Role;
import dev.cistern.plant.Plant;
import dev.cistern.scan.CisternException;
import dev.cistern.scan.Sha256;
import java.net.Socket;
import java.net.URI;
import java.net.URLEncoder;
import java.net.http.HttpClient;
import java.net.http.HttpRequest;
import java.net.http.HttpResponse;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Clock;
import java.time.Instant;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.Random;
import java.util.Set;
import java.util.regex.Matcher;
import java.util.regex.Pattern;
import org.junit.jupiter.api.AfterAll;
import org.junit.jupiter.api.BeforeAll;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.ValueSource;

/** Who may do what at the running adapter, asked over HTTP. */
class AccessTest {
  static final String PASSWORD = "five herons over the weir";
  private static final String FORM =
      "patient=9990000018&measured=2026-03-14T12%3A05&volume=156&purpose=pre-void&scanner=WL-009"
          + "&exam=";
  private static final HttpClient HTTP = HttpClient.newHttpClient();

  @TempDir static Path folder;

  @SuppressWarnings("NullAway.Init")
  private static Site site;

  private static int exams;

  @BeforeAll
  static void start() throws Exception {
    site = Site.startWith(folder, "access: { forms: asked }\n", "9990000018");
    account("a.ash", Role.VIEW, Role.OPERATE);
    account("n.oak");
    account("m.elm", Role.MAP);
  }

  @AfterAll
  static void stop() {
    site.close();
  }

  static void account(String name, Role... roles) {
    account(site.plant, name, roles);
  }

  static void account(Plant plant, String name, Role... roles) {
    plant
        .ledger()
        .accounts()
        .add(
            "user root",
            new Account(
                name,
                Passwords.hash(name, PASSWORD),
                Set.of(roles),
                Instant.now(),
                false,
                0,
                Instant.EPOCH,
                Secret.fresh()));
  }

  private static HttpResponse<String> send(
      String method, String path, Map<String, String> headers, String body) throws Exception {
    HttpRequest.Builder request =
        HttpRequest.newBuilder(URI.create(site.adapter.address() + path))
            .method(method, HttpRequest.BodyPublishers.ofString(body))
            .header("Content-Type", Site.TYPE);
    headers.forEach(request::header);
    return HTTP.send(request.build(), HttpResponse.BodyHandlers.ofString());
  }

  private static HttpResponse<String> get(String path, Map<String, String> headers)
      throws Exception {
    return send("GET", path, headers, "");
  }

  private static HttpResponse<String> posted(String query, Map<String, String> headers)
      throws Exception {
    return send("POST", "/forms/bedside" + query, headers, FORM + ++exams);
  }

  private static HttpResponse<String> signIn(String name, String password) throws Exception {
    return send(
        "POST",
        "/sign-in",
        Map.of(),
        "name=" + name + "&password=" + URLEncoder.encode(password, StandardCharsets.UTF_8));
  }

  private static Map<String, String> signedIn(String name) throws Exception {
    String cookie = signIn(name, PASSWORD).headers().firstValue("Set-Cookie").orElseThrow();
    return Map.of("Cookie", cookie.substring(0, cookie.indexOf(';')));
  }

  /** What a form of a page of theirs would bring back. */
  private static String check(Map<String, String> who) throws Exception {
    Matcher found =
        Pattern.compile("name=\"check\" value=\"([^\"]+)\"").matcher(get("/", who).body());
    assertThat(found.find()).isTrue();
    return found.group(1);
  }

  private static String token(String name, String source) {
    String token = Secret.fresh();
    site.plant.ledger().tokens().add("user root", name, Secret.hash(token), source);
    return token;
  }

  private static Map<String, String> bearer(String token) {
    return Map.of("Authorization", "Bearer " + token);
  }

  private static List<String> events() {
    List<String> events = new ArrayList<>();
    site.plant.ledger().trail(null, null, e -> events.add(e.event() + " by " + e.actor()));
    return events;
  }

  @ParameterizedTest
  @ValueSource(strings = {"/", "/rejected", "/entry/1", "/trail", "/reconcile", "/mappings"})
  void pages_ask_who_you_are_and_lead_back_afterwards(String path) throws Exception {
    HttpResponse<String> answer = get(path, Map.of());
    assertThat(answer.statusCode()).isBetween(302, 303);
    assertThat(answer.headers().firstValue("Location").orElse(""))
        .endsWith("/sign-in?to=" + URLEncoder.encode(path, StandardCharsets.UTF_8));
  }

  @Test
  void a_post_needs_a_token_or_a_person() throws Exception {
    assertThat(posted("", Map.of()).statusCode()).isEqualTo(401);
    assertThat(posted("", bearer("made-up")).statusCode()).isEqualTo(401);
    assertThat(posted("", bearer(token("tablet", "bedside"))).statusCode()).isEqualTo(201);
    assertThat(events())
        .contains(
            "token-added by user root", "token-used by token tablet", "received by token tablet");
  }

  @ParameterizedTest
  @ValueSource(
      strings = {
        "/assets/../forms/bedside",
        "/health/../forms/bedside",
        "/assets/%2e%2e/forms/bedside",
        "/sign-in/../forms/bedside",
        "/forms/bedside;x=/assets/",
        "/%66orms/bedside",
        "//forms/bedside"
      })
  void no_way_of_writing_an_address_leads_around_the_question(String path) throws Exception {
    String body = FORM + ++exams;
    try (Socket socket = new Socket("127.0.0.1", URI.create(site.adapter.address()).getPort())) {
      String request =
          "POST %s HTTP/1.1\r\nHost: x\r\nConnection: close\r\nContent-Type: %s\r\nContent-Length: %d\r\n\r\n%s"
              .formatted(path, Site.TYPE, body.length(), body);
      socket.getOutputStream().write(request.getBytes(StandardCharsets.UTF_8));
      String answer = new String(socket.getInputStream().readAllBytes(), StandardCharsets.UTF_8);
      assertThat(answer).matches("(?s)HTTP/1.1 (302|303|400|401|403|404) .*");
    }
    String sha = Sha256.hex(body.getBytes(StandardCharsets.UTF_8));
    assertThat(site.plant.ledger().records().submission("bedside", sha)).isEmpty();
  }

  @Test
  void a_token_is_for_its_form_and_until_it_is_revoked() throws Exception {
    assertThat(posted("", bearer(token("elsewhere", "elm-ward-export"))).statusCode())
        .isEqualTo(401);
    String token = token("old-tablet", "bedside");
    site.plant.ledger().tokens().revoke("user root", "old-tablet");
    assertThat(posted("", bearer(token)).statusCode()).isEqualTo(401);
    assertThat(get("/entries/1", bearer(token)).statusCode()).isEqualTo(401);
  }

  @Test
  void a_token_opens_no_page() throws Exception {
    assertThat(get("/", bearer(token("curious", "bedside"))).statusCode()).isBetween(302, 303);
  }

  @Test
  void the_state_of_an_entry_is_told_to_whoever_says_who_they_are() throws Exception {
    assertThat(get("/entries/1", Map.of()).statusCode()).isEqualTo(401);
    assertThat(get("/entries/999999", signedIn("n.oak")).statusCode()).isEqualTo(404);
  }

  @Test
  void health_asks_nobody() throws Exception {
    assertThat(get("/health/live", Map.of()).statusCode()).isEqualTo(200);
  }

  @Test
  void the_cookie_is_kept_from_scripts_and_from_other_sites() throws Exception {
    String cookie = signIn("a.ash", PASSWORD).headers().firstValue("Set-Cookie").orElseThrow();
    assertThat(cookie).contains("HttpOnly", "SameSite=Strict", "Path=/").doesNotContain("Max-Age");
  }

  @Test
  void a_person_posts_under_their_name_with_what_their_page_brings_back() throws Exception {
    Map<String, String> ash = signedIn("a.ash");
    assertThat(posted("", ash).statusCode()).isEqualTo(401);
    assertThat(posted("?check=made-up", ash).statusCode()).isEqualTo(401);
    assertThat(posted("?check=" + check(ash), ash).statusCode()).isEqualTo(201);
    assertThat(events()).contains("received by account a.ash");
  }

  @Test
  void another_site_can_send_nothing_in_somebodys_name() throws Exception {
    Map<String, String> ash = new java.util.HashMap<>(signedIn("a.ash"));
    String check = check(ash);
    ash.put("Sec-Fetch-Site", "cross-site");
    assertThat(posted("?check=" + check, ash).statusCode()).isEqualTo(403);
    ash.put("Sec-Fetch-Site", "same-site");
    assertThat(posted("?check=" + check, ash).statusCode()).isEqualTo(403);
    ash.remove("Sec-Fetch-Site");
    ash.put("Origin", "http://elsewhere.example");
    assertThat(posted("?check=" + check, ash).statusCode()).isEqualTo(403);
    ash.put("Origin", "null");
    assertThat(posted("?check=" + check, ash).statusCode()).isEqualTo(403);
    ash.put("Origin", site.adapter.address());
    assertThat(posted("?check=" + check, ash).statusCode()).isEqualTo(201);
  }

  @Test
  void a_change_without_what_the_page_brings_back_is_refused() throws Exception {
    Map<String, String> ash = signedIn("a.ash");
    assertThat(send("POST", "/sign-out", ash, "").statusCode()).isEqualTo(403);
    assertThat(send("POST", "/sign-out", ash, "check=" + check(signedIn("a.ash"))).statusCode())
        .isEqualTo(403);
    assertThat(get("/", ash).statusCode()).isEqualTo(200);
    assertThat(send("POST", "/sign-out", ash, "check=" + check(ash)).statusCode())
        .isBetween(302, 303);
    assertThat(get("/", ash).statusCode()).isBetween(302, 303);
    assertThat(events()).contains("signed-out by account a.ash");
  }

  @Test
  void a_lock_and_other_roles_count_at_once() throws Exception {
    account("t.yew", Role.VIEW);
    Map<String, String> yew = signedIn("t.yew");
    assertThat(get("/", yew).statusCode()).isEqualTo(200);
    var accounts = site.plant.ledger().accounts();
    accounts.change("user root", "t.yew", "account-roles", a -> a.withRoles(Set.of()));
    assertThat(get("/", yew).statusCode()).isEqualTo(403);
    accounts.change("user root", "t.yew", "account-locked", a -> a.withLock(true, Secret.fresh()));
    assertThat(get("/", yew).statusCode()).isBetween(302, 303);
  }

  private static HttpResponse<String> changed(
      Map<String, String> who, String check, String current, String wanted) throws Exception {
    return send(
        "POST",
        "/password",
        who,
        "check=%s&current=%s&wanted=%s&again=%s"
            .formatted(check, encoded(current), encoded(wanted), encoded(wanted)));
  }

  private static String encoded(String text) {
    return URLEncoder.encode(text, StandardCharsets.UTF_8);
  }

  @Test
  void people_change_their_own_password_and_every_session_of_theirs_ends() throws Exception {
    String other = "nine swans below the bridge";
    account("w.elm", Role.VIEW);
    Map<String, String> here = signedIn("w.elm");
    Map<String, String> elsewhere = signedIn("w.elm");
    String check = check(here);

    HttpResponse<String> wrong = changed(here, check, "not the one in use", other);
    assertThat(wrong.statusCode()).isEqualTo(403);
    assertThat(wrong.body()).contains("Nothing was changed");
    assertThat(changed(here, check, PASSWORD, "w.elm has a short memory").statusCode())
        .isEqualTo(422);
    assertThat(changed(here, "another page's", PASSWORD, other).statusCode()).isEqualTo(403);
    assertThat(get("/", here).statusCode()).isEqualTo(200);

    HttpResponse<String> done = changed(here, check, PASSWORD, other);
    assertThat(done.headers().firstValue("Location")).hasValue("/sign-in?done=password");
    assertThat(get("/", here).statusCode()).isEqualTo(302);
    assertThat(get("/", elsewhere).statusCode()).isEqualTo(302);
    assertThat(signIn("w.elm", PASSWORD).statusCode()).isEqualTo(401);
    assertThat(signIn("w.elm", other).statusCode()).isEqualTo(302);
    assertThat(events()).contains("account-password by account w.elm");
    assertThat(get("/password", Map.of()).statusCode()).isEqualTo(302);
  }

  @Test
  void a_role_opens_its_pages_only() throws Exception {
    Map<String, String> oak = signedIn("n.oak");
    assertThat(get("/", oak).statusCode()).isEqualTo(403);
    assertThat(get("/", signedIn("m.elm")).statusCode()).isEqualTo(200);
    assertThat(get("/trail", signedIn("a.ash")).statusCode()).isEqualTo(403);
    assertThat(get("/trail/trail.csv", signedIn("a.ash")).statusCode()).isEqualTo(403);
    assertThat(get("/mappings", signedIn("a.ash")).statusCode()).isEqualTo(403);
    Map<String, String> elm = signedIn("m.elm");
    assertThat(send("POST", "/entry/1", elm, "do=discard&why=x&check=" + check(elm)).statusCode())
        .isEqualTo(403);
    assertThat(
            send("POST", "/rejected", elm, "do=replay&all=1&why=x&check=" + check(elm))
                .statusCode())
        .isEqualTo(403);
  }

  @ParameterizedTest
  @ValueSource(
      strings = {"//elsewhere.example", "https://elsewhere.example", "/\\elsewhere.example", "x"})
  void signing_in_leads_to_no_other_site(String to) throws Exception {
    String body =
        "name=a.ash&password="
            + URLEncoder.encode(PASSWORD, StandardCharsets.UTF_8)
            + "&to="
            + URLEncoder.encode(to, StandardCharsets.UTF_8);
    assertThat(
            URI.create(
                    send("POST", "/sign-in", Map.of(), body)
                        .headers()
                        .firstValue("Location")
                        .orElseThrow())
                .getPath())
        .isEqualTo("/");
  }

  @Test
  void beyond_this_machine_nothing_starts_where_nobody_is_asked(@TempDir Path other)
      throws Exception {
    try (Plant open = beyond(other, "open")) {
      assertThatThrownBy(() -> Adapter.start(open))
          .isInstanceOf(CisternException.class)
          .hasMessageContaining("access.forms");
    }
    try (Plant asked = beyond(other, "asked")) {
      assertThatThrownBy(() -> Adapter.start(asked))
          .isInstanceOf(CisternException.class)
          .hasMessageContaining("account add");
      account(asked, "a.ash", Role.VIEW);
      assertThatCode(
              () -> BeyondLoopback.refuseUnlessAsked(asked.settings(), asked.ledger().accounts()))
          .doesNotThrowAnyException();
    }
  }

  private static Plant beyond(Path folder, String forms) throws Exception {
    Site.plant(folder, site.server.base(), "access: { forms: " + forms + " }\n").close();
    Path file = folder.resolve("cistern.yaml");
    String text = Files.readString(file).replace("http: {", "http: { bind: 0.0.0.0,");
    Files.writeString(file, text);
    return Plant.open(SettingsFile.read(file, Map.of()), Clock.systemUTC(), new Random(1));
  }
}
