// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;
import static org.awaitility.Awaitility.await;

import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Reconciliation;
import dev.cistern.testing.Browser;
import java.nio.file.Path;
import java.time.Duration;
import java.util.HashMap;
import java.util.Map;
import java.util.Objects;
import java.util.concurrent.atomic.AtomicInteger;
import java.util.regex.Matcher;
import java.util.regex.Pattern;
import org.junit.jupiter.api.AfterAll;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeAll;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.openqa.selenium.Keys;
import org.openqa.selenium.WebElement;

/**
 * The form as it is used: on a phone, with the keyboard, with a bar code reader, without network.
 */
class BedsideScriptTest {
  private static final Pattern ENTRY = Pattern.compile("ept as entry (\\d+)\\.");
  private static final String PATIENT = "9990000018";
  private static final AtomicInteger EXAM = new AtomicInteger(500);

  @TempDir static Path folder;

  @SuppressWarnings("NullAway.Init")
  private static Site site;

  @SuppressWarnings("NullAway.Init")
  private static Browser browser;

  @BeforeAll
  static void start() throws Exception {
    browser = Browser.open();
    site = Site.start(folder, PATIENT, "9990000077");
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
    browser.show(Browser.Screen.PHONE);
    open();
    browser.driver().executeScript("localStorage.clear(); sessionStorage.clear()");
    open();
  }

  @AfterEach
  void adds_up() {
    browser.online(true);
    assertThat(site.proof().holds()).isTrue();
  }

  private static void open() {
    browser.go(site.adapter.address() + "/forms/bedside");
    await().until(() -> !"true".equals(browser.find(".now").getDomProperty("hidden")));
  }

  private static WebElement named(String name) {
    return browser.find("[name=" + name + "]");
  }

  private static void type(String name, String text) {
    named(name).clear();
    named(name).sendKeys(text);
  }

  private static void choose(String name, String value) {
    browser.bring("[name=" + name + "][value='" + value + "']").click();
  }

  private static String typed(String name) {
    return browser.value(name);
  }

  private static void fill() {
    type("patient", PATIENT);
    choose("purpose", "pre-void");
    browser.bring("[name=measured] ~ .now").click();
    type("volume", "142");
    type("exam", "" + EXAM.incrementAndGet());
  }

  private static void send() {
    browser.bring("#send").click();
  }

  private static Entry kept() {
    await().until(() -> ENTRY.matcher(browser.text("main")).find());
    Matcher entry = ENTRY.matcher(browser.text("main"));
    assertThat(entry.find()).isTrue();
    return site.plant.ledger().records().entry(Long.parseLong(entry.group(1))).orElseThrow();
  }

  private static long entries() {
    return site.proof().sums().stream().mapToLong(Reconciliation.Sum::entries).sum();
  }

  private static String stored() {
    return (String)
        Objects.requireNonNull(
            browser
                .driver()
                .executeScript("return JSON.stringify({...localStorage, ...sessionStorage})"));
  }

  @Test
  void a_result_is_entered_and_kept_and_nothing_of_it_stays_on_the_device() {
    fill();
    send();
    assertThat(kept().volumeText()).isEqualTo("142 mL");
    assertThat(browser.text("h1")).isEqualTo("The result is kept");
    assertThat(browser.text("dl")).contains(PATIENT, "142 mL", "Before passing urine");
    assertThat(stored()).doesNotContain(PATIENT);
    browser.assertAccessible();
    assertThat(browser.overhang()).isZero();
    assertThat(browser.complaints()).noneMatch(line -> line.contains("Security Policy"));
  }

  @Test
  void the_void_is_asked_about_only_of_who_has_passed_urine() {
    assertThat(named("voided").isDisplayed()).isFalse();
    choose("purpose", "post-void");
    assertThat(named("voided").isDisplayed()).isTrue();
    type("minutes", "5");
    choose("purpose", "pre-void");
    assertThat(named("minutes").isDisplayed()).isFalse();

    type("patient", PATIENT);
    browser.bring("[name=measured] ~ .now").click();
    type("volume", "77");
    type("exam", "" + EXAM.incrementAndGet());
    send();
    kept();
    assertThat(browser.text("dl")).contains("Before passing urine").doesNotContain("minutes");
  }

  @Test
  void what_is_missing_is_named_at_its_question_and_nothing_is_sent() {
    long before = entries();
    type("patient", PATIENT);
    send();
    assertThat(browser.text(".errors")).contains("Not sent yet", "This scan was done");
    assertThat(browser.text("#q-purpose-wrong")).contains("must be answered");
    assertThat(browser.text("#q-volume-wrong")).contains("must be answered");
    assertThat(browser.driver().switchTo().activeElement().getDomAttribute("class"))
        .isEqualTo("errors");
    browser.assertAccessible();
    assertThat(entries()).isEqualTo(before);
  }

  @Test
  void what_the_server_refuses_stands_at_its_question_and_can_be_put_right() {
    fill();
    browser.unfold("[value=scar]");
    choose("confounder", "scar");
    type("volume", "lots");
    send();
    await().until(() -> !browser.all(".errors").isEmpty());
    assertThat(browser.text("#q-volume-wrong")).contains("not a number");
    assertThat(browser.find("[value=scar]").isSelected()).isTrue();
    browser.assertAccessible();

    type("volume", "142");
    send();
    assertThat(kept().state()).isIn(EntryState.READY, EntryState.DELIVERED);
  }

  @Test
  void a_double_tap_is_one_result() {
    fill();
    long before = entries();
    browser
        .driver()
        .executeScript(
            "const b = document.querySelector('#send'); b.click(); b.click();"
                + "document.querySelector('#bedside').requestSubmit()");
    kept();
    assertThat(browser.text("main")).doesNotContain("sent before");
    assertThat(entries()).isEqualTo(before + 1);
  }

  @Test
  void the_keyboard_is_enough() {
    browser.driver().executeScript("document.querySelector('[name=patient]').focus()");
    keys(PATIENT, Keys.ENTER);
    keys(Keys.ARROW_DOWN, Keys.ENTER); // before passing urine
    keys(Keys.SPACE, Keys.ENTER); // the first exam setting
    keys(Keys.ENTER); // hysterectomy
    await().until(() -> browser.find("[value=pre-void]").isSelected());
    while (!focused().equals("volume")) {
      keys(Keys.ENTER);
    }
    keys("201");
    browser.find("[name=measured] ~ .now").sendKeys(Keys.ENTER);
    assertThat(typed("measured")).isNotEmpty();
    while (!focused().equals("send")) {
      keys(Keys.TAB);
    }
    keys(Keys.ENTER);
    assertThat(kept().volumeText()).isEqualTo("201 mL");
  }

  private static void keys(CharSequence... keys) {
    browser.driver().switchTo().activeElement().sendKeys(keys);
  }

  private static String focused() {
    WebElement active = browser.driver().switchTo().activeElement();
    String name = active.getDomAttribute("name");
    return name == null || name.isEmpty()
        ? Objects.toString(active.getDomAttribute("id"), "")
        : name;
  }

  @Test
  void a_bar_code_goes_on_to_the_next_question_and_leaves_its_kind_behind() {
    long before = entries();
    named("patient").sendKeys("]C0" + PATIENT, Keys.ENTER);
    assertThat(typed("patient")).isEqualTo(PATIENT);
    assertThat(browser.text("#q-patient-wrong")).contains("]C0", "left out");
    assertThat(focused()).isEqualTo("purpose");

    named("patient").clear();
    named("patient").sendKeys("]d28018" + "999000001800000000", Keys.ENTER);
    assertThat(typed("patient")).isEqualTo("999000001800000000");
    assertThat(entries()).isEqualTo(before);
    assertThat(browser.all(".errors")).isEmpty();
  }

  /** Presses the keys of a text with so many milliseconds between them, on the browser's clock. */
  private static void press(String field, String text, int apart, String last) {
    browser
        .driver()
        .executeScript("document.querySelector(arguments[0]).focus()", "[name=" + field + "]");
    double at = System.currentTimeMillis() / 1000.0;
    for (char each : text.toCharArray()) {
      press(Map.of("text", "" + each, "key", "" + each), at);
      at += apart / 1000.0;
    }
    if (!last.isEmpty()) {
      press(Map.of("key", last, "code", last), at);
    }
  }

  private static void press(Map<String, Object> key, double at) {
    Map<String, Object> down = new HashMap<>(key);
    down.put("type", key.containsKey("text") ? "keyDown" : "rawKeyDown");
    down.put("timestamp", at);
    browser.driver().executeCdpCommand("Input.dispatchKeyEvent", down);
    browser
        .driver()
        .executeCdpCommand(
            "Input.dispatchKeyEvent",
            Map.of("type", "keyUp", "key", Objects.requireNonNull(key.get("key"))));
  }

  private static void rest() {
    choose("purpose", "pre-void");
    browser.bring("[name=measured] ~ .now").click();
    type("volume", "142");
    type("exam", "" + EXAM.incrementAndGet());
    send();
  }

  @Test
  void a_number_that_a_reader_typed_is_sent_as_scanned() {
    press("patient", PATIENT, 8, "Enter");
    assertThat(typed("patient")).isEqualTo(PATIENT);
    assertThat(typed("patientEntry")).isEqualTo("scanned");
    rest();
    Entry entry = kept();
    assertThat(entry.scanJson()).contains("\"scanned\"");
    assertThat(entry.findingsJson()).doesNotContain("patient-number-typed");
  }

  @Test
  void a_number_that_a_person_typed_is_sent_as_typed() {
    press("patient", PATIENT, 210, "Tab");
    assertThat(typed("patientEntry")).isEqualTo("typed");
    rest();
    Entry entry = kept();
    assertThat(entry.scanJson()).contains("\"typed\"");
    assertThat(entry.findingsJson()).contains("patient-number-typed");
  }

  @Test
  void how_a_number_came_is_not_said_where_it_is_not_sure() {
    press("patient", PATIENT, 90, "Enter"); // as fast as a slow reader or a fast person
    assertThat(typed("patientEntry")).isEmpty();

    named("patient").clear();
    press("patient", PATIENT, 8, ""); // no end: perhaps a number that was filled in
    assertThat(typed("patientEntry")).isEmpty();

    named("patient").clear();
    press("patient", "12345", 8, "Enter"); // fingers can roll over a few keys
    assertThat(typed("patientEntry")).isEmpty();

    named("patient").clear();
    press("patient", PATIENT, 8, "Enter");
    assertThat(typed("patientEntry")).isEqualTo("scanned");
    press("patient", "7", 0, "Tab"); // a person changed what was scanned
    assertThat(typed("patientEntry")).isEmpty();

    named("patient").clear();
    browser
        .driver()
        .executeCdpCommand("Input.insertText", Map.of("text", PATIENT)); // as a paste does
    assertThat(typed("patientEntry")).isEmpty();
    rest();
    assertThat(kept().scanJson()).doesNotContain("scanned").doesNotContain("typed");
  }

  @Test
  void a_form_that_is_emptied_forgets_how_the_number_came() {
    press("patient", PATIENT, 8, "Enter");
    browser.bring("#clear").click();
    browser.driver().switchTo().alert().accept();
    assertThat(typed("patientEntry")).isEmpty();
    press("patient", PATIENT, 8, "Enter");
    assertThat(typed("patientEntry")).isEqualTo("scanned");
  }

  @Test
  void a_reload_brings_back_what_was_typed_and_warns_of_another_patient() {
    fill();
    String key = typed("idempotencyKey");
    open();
    assertThat(typed("patient")).isEqualTo(PATIENT);
    assertThat(browser.find("[value=pre-void]").isSelected()).isTrue();
    assertThat(typed("idempotencyKey")).isEqualTo(key);
    assertThat(browser.text("#answer")).contains("only if it is the same patient");

    browser.bring("#answer button").click();
    assertThat(typed("patient")).isEmpty();
    assertThat(browser.all("[name=purpose]:checked")).isEmpty();
    assertThat(stored()).doesNotContain(PATIENT);
    open();
    assertThat(typed("patient")).isEmpty();
    assertThat(typed("idempotencyKey")).isNotEqualTo(key);
  }

  @Test
  void without_a_connection_a_result_waits_sealed_and_goes_by_itself_when_it_is_back() {
    fill();
    long before = entries();
    browser.online(false);
    send();
    await().until(() -> browser.text("#waiting").contains("1 result waits on this device"));
    assertThat(browser.text("#answer")).contains("Not kept yet", "Keep the paper record");
    assertThat(typed("patient")).isEmpty();
    assertThat(stored()).contains("cistern-outbox").doesNotContain(PATIENT, "142");
    browser.assertAccessible();
    fill();
    send();
    await().until(() -> browser.text("#waiting").contains("2 results wait on this device"));
    assertThat(entries()).isEqualTo(before);

    browser.online(true);
    await().until(() -> entries() == before + 2);
    assertThat(kept().volumeText()).isEqualTo("142 mL");
    await()
        .until(() -> !stored().contains("sealed") && !browser.text("#waiting").contains("wait on"));
    browser.assertAccessible();
  }

  @Test
  void what_is_refused_after_it_waited_is_held_for_a_person_and_said_to_be() {
    fill();
    type("volume", "lots");
    browser.online(false);
    send();
    await().until(() -> browser.text("#waiting").contains("1 result waits"));
    browser.online(true);
    assertThat(kept().state()).isEqualTo(EntryState.REJECTED);
    assertThat(browser.text("#waiting")).contains("a person has to put it right");
  }

  @Test
  void what_waits_can_be_discarded_after_a_warning() {
    fill();
    browser.online(false);
    send();
    await().until(() -> browser.text("#waiting").contains("1 result waits"));
    browser.bring("#waiting .grave").click();
    assertThat(browser.driver().switchTo().alert().getText()).contains("nowhere else");
    browser.driver().switchTo().alert().dismiss();
    assertThat(browser.text("#waiting")).contains("1 result waits");
    browser.bring("#waiting .grave").click();
    browser.driver().switchTo().alert().accept();
    await().until(() -> !browser.text("#waiting").contains("1 result waits"));
    assertThat(stored()).doesNotContain("sealed");
  }

  @Test
  void on_a_connection_that_is_not_encrypted_nothing_is_stored_and_the_page_says_so() {
    browser.go(site.adapter.address().replace("127.0.0.1", Browser.PLAIN_HOST) + "/forms/bedside");
    fill();
    long before = entries();
    browser.online(false);
    send();
    await().until(() -> browser.text("#answer").contains("leave this page open"));
    assertThat(stored()).doesNotContain("142").doesNotContain("outbox");
    browser.online(true);
    await().atMost(Duration.ofSeconds(40)).until(() -> entries() == before + 1);
    kept();
  }
}
