// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;
import static org.awaitility.Awaitility.await;

import dev.cistern.ledger.Reconciliation;
import dev.cistern.testing.Browser;
import dev.cistern.testing.FrontDoor;
import dev.cistern.testing.FrontDoor.Mood;
import java.nio.file.Path;
import java.util.Map;
import java.util.Objects;
import java.util.concurrent.atomic.AtomicInteger;
import org.junit.jupiter.api.AfterAll;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeAll;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** The form while the server cannot be reached, is busy, or its answer is lost; and left alone. */
class BedsideOfflineTest {
  private static final String PATIENT = "9990000018";
  private static final AtomicInteger EXAM = new AtomicInteger(900);

  @TempDir static Path folder;

  @SuppressWarnings("NullAway.Init")
  private static Site site;

  @SuppressWarnings("NullAway.Init")
  private static FrontDoor door;

  @SuppressWarnings("NullAway.Init")
  private static Browser browser;

  @BeforeAll
  static void start() throws Exception {
    browser = Browser.open();
    site = Site.start(folder, PATIENT);
    door = new FrontDoor(site.adapter.address());
  }

  @AfterAll
  static void stop() {
    if (browser != null) {
      browser.close();
    }
    if (door != null) {
      door.close();
    }
    if (site != null) {
      site.close();
    }
  }

  @BeforeEach
  void an_empty_form() {
    browser.show(Browser.Screen.PHONE);
    door.is(Mood.OPEN);
    open("");
    browser.driver().executeScript("localStorage.clear(); sessionStorage.clear()");
    open("");
  }

  @AfterEach
  void adds_up() {
    assertThat(site.proof().holds()).isTrue();
  }

  private static void open(String query) {
    browser.go(door.address() + "/forms/bedside" + query);
    await().until(() -> !"true".equals(browser.find(".now").getDomProperty("hidden")));
  }

  private static void fill() {
    browser.find("[name=patient]").sendKeys(PATIENT);
    browser.bring("[value=pre-void]").click();
    browser.bring("[name=measured] ~ .now").click();
    browser.find("[name=volume]").sendKeys("142");
    browser.find("[name=exam]").sendKeys("" + EXAM.incrementAndGet());
  }

  private static void sendAndWait() {
    browser.bring("#send").click();
    await().until(() -> browser.text("#waiting").contains("1 result waits on this device"));
    assertThat(browser.text("#answer")).contains("Not kept yet", "Keep the paper record");
  }

  private static void tryNow() {
    browser.bring("#waiting button").click();
    await().until(() -> browser.text("#waiting").contains("is kept as entry"));
  }

  private static long entries() {
    return site.proof().sums().stream().mapToLong(Reconciliation.Sum::entries).sum();
  }

  @Test
  void the_form_opens_without_the_server_and_what_is_typed_there_waits_for_it() {
    long before = entries();
    await()
        .until(
            () ->
                "ready"
                    .equals(
                        browser
                            .driver()
                            .executeScript("return document.documentElement.dataset.offline")));
    door.is(Mood.SHUT);
    open("?scanner=WL-009");
    assertThat(browser.text("h1")).isEqualTo("Result typed at the bedside");
    assertThat(browser.value("scanner")).isEqualTo("WL-009");
    assertThat(browser.value("patient")).isEmpty();
    String key = browser.value("idempotencyKey");
    fill();
    sendAndWait();
    assertThat(browser.value("idempotencyKey")).isNotEqualTo(key);
    assertThat(entries()).isEqualTo(before);
    open("");
    assertThat(browser.text("#waiting")).contains("1 result waits on this device");

    door.is(Mood.OPEN);
    tryNow();
    assertThat(entries()).isEqualTo(before + 1);
  }

  @Test
  void a_server_that_keeps_nothing_now_is_asked_again_and_the_result_waits() {
    long before = entries();
    fill();
    door.is(Mood.BUSY);
    sendAndWait();
    assertThat(entries()).isEqualTo(before);
    door.is(Mood.OPEN);
    tryNow();
    assertThat(entries()).isEqualTo(before + 1);
  }

  @Test
  void a_result_whose_answer_was_lost_is_sent_again_and_stays_one() {
    long before = entries();
    fill();
    door.is(Mood.DEAF);
    sendAndWait();
    assertThat(entries()).isEqualTo(before + 1);
    door.is(Mood.OPEN);
    tryNow();
    assertThat(entries()).isEqualTo(before + 1);
  }

  @Test
  void what_was_typed_more_than_half_an_hour_ago_is_not_brought_back() {
    fill();
    browser
        .driver()
        .executeScript(
            """
            const draft = JSON.parse(sessionStorage['cistern-draft-bedside']);
            draft.at -= 31 * 60000;
            sessionStorage['cistern-draft-bedside'] = JSON.stringify(draft);
            """);
    open("");
    assertThat(browser.value("patient")).isEmpty();
    assertThat(browser.all("[name=purpose]:checked")).isEmpty();
    assertThat(browser.driver().executeScript("return sessionStorage.length")).isEqualTo(0L);
  }

  @Test
  void a_form_that_is_left_alone_for_half_an_hour_is_emptied() {
    Object script =
        browser
            .driver()
            .executeCdpCommand(
                "Page.addScriptToEvaluateOnNewDocument",
                Map.of(
                    "source",
                    "const real = window.setTimeout; window.setTimeout = (act, ms, ...more) =>"
                        + " real(act, ms === 1800000 ? 500 : ms, ...more);"))
            .get("identifier");
    try {
      open("");
      browser.find("[name=patient]").sendKeys(PATIENT);
      await().until(() -> browser.text("#answer").contains("emptied after 30 minutes"));
      assertThat(browser.value("patient")).isEmpty();
    } finally {
      browser
          .driver()
          .executeCdpCommand(
              "Page.removeScriptToEvaluateOnNewDocument",
              Map.of("identifier", Objects.requireNonNull(script)));
    }
  }

  @Test
  void the_line_above_the_button_says_what_is_needed_and_then_what_would_be_sent() {
    assertThat(browser.text("#readback"))
        .isEqualTo("Still needed: patient number, passing urine, volume, time of the scan");
    fill();
    assertThat(browser.text("#readback")).isEqualTo(PATIENT + " · before passing urine · 142 mL");
  }
}
