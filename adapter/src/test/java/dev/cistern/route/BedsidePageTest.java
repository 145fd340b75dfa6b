// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;
import static org.awaitility.Awaitility.await;

import dev.cistern.ledger.Entry;
import dev.cistern.testing.Browser;
import java.nio.file.Path;
import java.time.Duration;
import java.time.LocalDateTime;
import java.time.ZoneId;
import java.time.temporal.ChronoUnit;
import java.util.concurrent.atomic.AtomicInteger;
import org.junit.jupiter.api.AfterAll;
import org.junit.jupiter.api.BeforeAll;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.openqa.selenium.Keys;
import org.openqa.selenium.WebElement;

/** What the form does in a browser without its script: an ordinary form and an answer in words. */
class BedsidePageTest {
  private static final AtomicInteger EXAM = new AtomicInteger(100);

  @TempDir static Path folder;

  @SuppressWarnings("NullAway.Init")
  private static Site site;

  @SuppressWarnings("NullAway.Init")
  private static Browser browser;

  @BeforeAll
  static void start() throws Exception {
    browser = Browser.open();
    site =
        Site.startWith(
            folder,
            "  - { name: willow, kind: form, mapping: bedside-form, unfold: [confounders, position] }\n",
            "9990000018",
            "9990000077");
  }

  @AfterAll
  static void stop() {
    if (site != null) {
      site.close();
    }
    if (browser != null) {
      browser.close();
    }
  }

  @BeforeEach
  void an_empty_form() {
    browser.scripts(false);
    browser.show(Browser.Screen.PHONE);
    browser.go(site.adapter.address() + "/forms/bedside?scanner=WL-009&ward=Willow&patient=1");
  }

  @Test
  void a_ward_keeps_questions_open_that_others_fold_away() {
    assertThat(browser.find("details:has([name=confounder])").getAttribute("open")).isNull();
    assertThat(browser.text("details:has([name=confounder]) > summary")).contains("position");
    browser.go(site.adapter.address() + "/forms/willow");
    assertThat(browser.all("details [name=confounder], details [name=position]")).isEmpty();
    assertThat(browser.find("[name=confounder]").isDisplayed()).isTrue();
    assertThat(browser.find("[name=position]").isDisplayed()).isTrue();
    assertThat(browser.all("details [name=shadow]")).as("the rest stays folded").isNotEmpty();
    browser.scripts(true);
    assertThat(browser.overhang()).isZero();
    browser.assertAccessible();
  }

  private static void type(String name, String text) {
    WebElement input = browser.find("[name=" + name + "]");
    input.clear();
    input.sendKeys(text);
  }

  private static void choose(String name, String value) {
    browser.find("[name=" + name + "][value='" + value + "']").click();
  }

  /** Chromium takes a date and time in the order of the locale, field by field. */
  private static void time(String name) {
    LocalDateTime now =
        LocalDateTime.now(ZoneId.of("Europe/Vienna")).truncatedTo(ChronoUnit.MINUTES);
    browser.scripts(true);
    browser
        .driver()
        .executeScript(
            "document.querySelector('[name=" + name + "]').value = arguments[0]", now.toString());
    browser.scripts(false);
  }

  private static void fill() {
    type("patient", "9990000018");
    choose("purpose", "pre-void");
    time("measured");
    type("volume", "142");
    type("exam", "" + EXAM.incrementAndGet());
  }

  private static Entry last() {
    return site.plant
        .ledger()
        .records()
        .entry(
            Long.parseLong(
                browser.text(".notice").replaceAll("(?s).*Kept as entry (\\d+).*", "$1")))
        .orElseThrow();
  }

  @Test
  void the_form_asks_in_the_order_of_a_scan_only_what_its_mapping_takes() {
    assertThat(browser.all("h2"))
        .extracting(WebElement::getText)
        .containsExactly(
            "Who is the patient?",
            "Scanned before or after passing urine?",
            "How was it scanned?",
            "What did the scanner show?",
            "Which scanner, and who scanned?");
    assertThat(browser.all("[name]"))
        .extracting(e -> e.getDomAttribute("name"))
        .contains("patient", "born", "setting", "purpose", "confounder", "volume", "exam")
        .doesNotContain("weight", "encounter", "sex");
    assertThat(browser.overhang()).isZero();
    assertThat(browser.text("main").toLowerCase(java.util.Locale.ROOT)).doesNotContain("residual");
  }

  @Test
  void the_address_names_the_scanner_and_the_ward_and_never_a_patient() {
    assertThat(browser.value("scanner")).isEqualTo("WL-009");
    assertThat(browser.value("ward")).isEqualTo("Willow");
    assertThat(browser.value("patient")).isEmpty();
  }

  @Test
  void nobody_can_pass_over_whether_the_patient_had_passed_urine() {
    type("patient", "9990000018");
    time("measured");
    type("volume", "142");
    assertThat(browser.all("[name=purpose]:checked")).isEmpty();
    browser.find("#send").click();
    assertThat(browser.find("h1").getText()).isEqualTo("Result typed at the bedside");
    assertThat(browser.all(".errors")).isEmpty();
    assertThat(browser.all("[name=purpose]:invalid")).isNotEmpty();
  }

  @Test
  void a_result_is_kept_and_said_to_be() {
    fill();
    browser.follow("#send");
    assertThat(browser.text("h1")).isEqualTo("The result is kept");
    assertThat(browser.text("dl")).contains("9990000018", "142 mL", "Before passing urine");
    assertThat(last().volumeText()).isEqualTo("142 mL");
  }

  @Test
  void what_is_refused_stands_at_its_question_and_what_was_typed_is_still_there() {
    fill();
    browser.unfold("[value=scar]");
    choose("confounder", "scar");
    type("volume", "lots");
    browser.follow("#send");
    assertThat(browser.text(".errors")).contains("Not kept", "not a number");
    assertThat(browser.text("#q-volume-wrong")).contains("not a number");
    assertThat(browser.find(".errors a").getDomAttribute("href")).endsWith("#q-volume");
    assertThat(browser.value("patient")).isEqualTo("9990000018");
    assertThat(browser.find("[value=scar]").isSelected()).isTrue();
    assertThat(browser.find("[value=pre-void]").isSelected()).isTrue();
    browser.scripts(true);
    browser.assertAccessible();
    browser.scripts(false);

    type("volume", "142");
    browser.follow("#send");
    assertThat(browser.text("h1")).isEqualTo("The result is kept");
  }

  @Test
  void the_same_form_twice_is_one_entry_and_with_other_answers_none() {
    fill();
    String key = browser.value("idempotencyKey");
    String exam = browser.value("exam");
    String measured = browser.value("measured");
    browser.follow("#send");
    Entry first = last();

    sameFormAgain(key, exam, measured, "142");
    assertThat(last()).isEqualTo(first);
    assertThat(browser.text(".notice")).contains("not a second one");

    sameFormAgain(key, exam, measured, "143");
    assertThat(browser.text(".errors")).contains("already kept as entry " + first.id());
    assertThat(browser.value("volume")).isEqualTo("143");
    assertThat(browser.value("idempotencyKey")).isNotEqualTo(key);
  }

  private void sameFormAgain(String key, String exam, String measured, String volume) {
    an_empty_form();
    fill();
    type("exam", exam);
    type("volume", volume);
    browser.scripts(true);
    browser
        .driver()
        .executeScript(
            "document.querySelector('[name=measured]').value = arguments[0];"
                + "document.querySelector('[name=idempotencyKey]').value = arguments[1]",
            measured,
            key);
    browser.scripts(false);
    browser.follow("#send");
  }

  @Test
  void a_bar_code_that_ends_in_enter_sends_nothing() {
    fill();
    browser.find("[name=patient]").sendKeys(Keys.ENTER);
    await()
        .during(Duration.ofMillis(400))
        .until(() -> browser.text("h1").equals("Result typed at the bedside"));
    assertThat(browser.value("patient")).isEqualTo("9990000018");
  }

  @Test
  void a_form_that_nobody_configured_is_not_there() throws Exception {
    assertThat(site.get("/forms/other").statusCode()).isEqualTo(404);
    assertThat(site.get("/forms/elm-ward-export").statusCode()).isEqualTo(404);
    assertThat(site.get("/forms/").statusCode()).isEqualTo(404);
  }
}
