// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.testing.Browser;
import java.net.URI;
import java.net.http.HttpClient;
import java.net.http.HttpRequest;
import java.net.http.HttpResponse;
import java.nio.file.Path;
import org.junit.jupiter.api.AfterAll;
import org.junit.jupiter.api.BeforeAll;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.ValueSource;

/** What all pages have in common, at the running adapter. */
class FrameTest {
  @TempDir static Path folder;

  @SuppressWarnings("NullAway.Init")
  private static Site site;

  @BeforeAll
  static void start() throws Exception {
    site = Site.start(folder);
  }

  @AfterAll
  static void stop() {
    site.close();
  }

  private static HttpResponse<String> get(String path, String accept) throws Exception {
    return HttpClient.newHttpClient()
        .send(
            HttpRequest.newBuilder(URI.create(site.adapter.address() + path))
                .header("Accept", accept)
                .build(),
            HttpResponse.BodyHandlers.ofString());
  }

  private static String asset(String page, String name) {
    int end = page.indexOf(name + "\"") + name.length();
    return page.substring(page.lastIndexOf('"', end - 1) + 1, end);
  }

  @ParameterizedTest
  @ValueSource(strings = {"/", "/nowhere", "/health/live", "/entries/1", "/assets/0/no.css"})
  void every_answer_forbids_foreign_scripts_frames_and_keeping(String path) throws Exception {
    var headers = get(path, "text/html").headers();
    assertThat(headers.firstValue("Content-Security-Policy").orElse(""))
        .contains("default-src 'none'", "script-src 'self'", "frame-ancestors 'none'")
        .doesNotContain("unsafe");
    assertThat(headers.firstValue("X-Content-Type-Options")).contains("nosniff");
    assertThat(headers.firstValue("Cache-Control").orElse("")).contains("no-store");
    assertThat(headers.firstValue("Referrer-Policy")).contains("same-origin");
    assertThat(headers.firstValue("Server")).isEmpty();
  }

  @Test
  void the_answer_to_a_form_has_them_too() throws Exception {
    assertThat(site.post("bedside", Site.TYPE, null, "volume=1").headers().map())
        .containsKeys("content-security-policy", "x-frame-options");
  }

  @Test
  void an_asset_is_kept_for_ever_under_the_address_of_its_content() throws Exception {
    String path = asset(get("/nowhere", "text/html").body(), "frame.css");
    HttpResponse<String> style = get(path, "*/*");
    assertThat(style.statusCode()).isEqualTo(200);
    assertThat(style.headers().firstValue("Content-Type").orElse("")).startsWith("text/css");
    assertThat(style.headers().allValues("Cache-Control"))
        .containsExactly("public, max-age=31536000, immutable");
    assertThat(get("/assets/0123456789abcdef/frame.css", "*/*").statusCode()).isEqualTo(404);
  }

  @ParameterizedTest
  @ValueSource(
      strings = {
        "/assets/",
        "/assets/x",
        "/assets/0/../frame.css",
        "/assets/0/..%2f..%2flogback.xml",
        "/assets/0/logback.xml",
        "/assets/0/frame.css/"
      })
  void nothing_but_assets_is_given_out_as_one(String path) throws Exception {
    assertThat(get(path, "*/*").statusCode()).isBetween(400, 404);
  }

  @Test
  void programs_are_told_in_json_and_people_on_a_page_that_there_is_nothing() throws Exception {
    HttpResponse<String> program = get("/nowhere", "application/json");
    assertThat(program.statusCode()).isEqualTo(404);
    assertThat(program.body()).contains("\"error\"");
    HttpResponse<String> person = get("/nowhere", "text/html");
    assertThat(person.statusCode()).isEqualTo(404);
    assertThat(person.body()).contains("<h1>There is nothing here</h1>");
  }

  @Test
  void a_page_is_accessible_fits_a_phone_and_breaks_no_policy_of_its_own() {
    try (Browser browser = Browser.open()) {
      browser.go(site.adapter.address() + "/nowhere");
      browser.assertAccessible();
      assertThat(browser.text("footer")).contains("not a medical device");
      browser.show(Browser.Screen.PHONE);
      assertThat(browser.overhang()).isZero();
      assertThat(browser.complaints()).noneMatch(line -> line.contains("Security Policy"));
    }
  }
}
