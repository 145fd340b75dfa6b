// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;
import static org.awaitility.Awaitility.await;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.console.SiteDays;
import dev.cistern.json.Json;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Queue;
import dev.cistern.ledger.Role;
import dev.cistern.testing.Browser;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.LocalDate;
import java.util.Base64;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import java.util.regex.Pattern;
import org.junit.jupiter.api.AfterAll;
import org.junit.jupiter.api.BeforeAll;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.ValueSource;
import org.openqa.selenium.By;
import org.openqa.selenium.WebElement;

/** What people do on the console, in a browser, from start to end. */
class ConsoleTest {
  private static final String ELM = "elm-ward-export";
  private static final String HEADER =
      "PatNo;Date;Time;Vol;Unit;Kind;LastVoid;Voided;Set;Serial;ExamNo;User\n";

  @TempDir static Path folder;

  @SuppressWarnings("NullAway.Init")
  private static Site site;

  @SuppressWarnings("NullAway.Init")
  private static Browser browser;

  private static int exam = 100;

  @BeforeAll
  static void start() throws Exception {
    browser = Browser.open();
    site = Site.start(folder, "9990000018");
    AccessTest.account(site.plant, "a.ash", Role.VIEW, Role.OPERATE, Role.AUDIT, Role.MAP);
    AccessTest.account(site.plant, "v.fir", Role.VIEW);
    dropped(row("142", "ml", "PRE") + row("812", "", "PRE") + row("250", "ml", "ZZ"));
    signIn("a.ash");
  }

  @AfterAll
  static void stop() {
    if (browser != null) {
      browser.close();
    }
    if (site != null) {
      site.close();
    }
  }

  @BeforeEach
  void anew() {
    browser.show(Browser.Screen.DESK);
    browser.dark(false);
  }

  private static String row(String volume, String unit, String kind) {
    return "9990000018;14.03.2026;09:05:00;%s;%s;%s;;;F;AV-0012;%04d;N4471\n"
        .formatted(volume, unit, kind, ++exam);
  }

  /** Drops a file, and waits until all of it was read and sent. */
  private static List<Entry> dropped(String rows) throws Exception {
    return site.dropped(ELM, "day-" + exam + ".csv", HEADER + rows);
  }

  private static void go(String path) {
    browser.go(site.adapter.address() + path);
  }

  private static void signIn(String name) {
    browser.driver().manage().deleteAllCookies();
    go("/");
    browser.find("#name").sendKeys(name);
    browser.find("#password").sendKeys("five herons over the weir");
    browser.follow(browser.find("form button.main"));
    assertThat(browser.text("h1")).isEqualTo("Overview");
  }

  private static void press(String name) {
    browser.follow(browser.find("button[name=do][value=" + name + "]"));
  }

  private static EntryState state(Entry entry) {
    return site.plant.ledger().records().entry(entry.id()).orElseThrow().state();
  }

  @Test
  void the_overview_puts_a_rejected_high_volume_first() throws Exception {
    Entry high = dropped(row("905", "", "PRE")).get(0);
    go("/");
    assertThat(browser.text(".notice.urgent")).contains("at or above 500 mL");
    assertThat(browser.text("main")).contains("It adds up", "Takes results", "unit-missing");
    assertThat(browser.find("svg[aria-label^=" + ELM + "]").getAttribute("aria-label"))
        .contains("came; most");
    browser.follow(browser.find(".notice.urgent a"));
    assertThat(browser.text("tbody")).contains(String.valueOf(high.id()), "905");
    assertThat(browser.all("tbody tr")).allMatch(row -> row.getText().contains("urgent"));
  }

  @Test
  void a_nurse_sets_the_missing_unit_tries_it_and_sends_it() throws Exception {
    Entry entry = dropped(row("311", "", "PRE")).get(0);
    go("/rejected?code=unit-missing");
    browser.follow(browser.driver().findElement(By.linkText(String.valueOf(entry.id()))));
    assertThat(browser.text(".raw")).contains("9990000018;14.03.2026;09:05:00;311");
    assertThat(browser.text(".todo")).contains("unit-missing");

    browser.find("input[name='set.volume']").sendKeys("311 mL");
    press("try");
    assertThat(browser.text("[aria-labelledby=trial]"))
        .contains("nothing written", "ready", "volumeMl");
    assertThat(state(entry)).isEqualTo(EntryState.REJECTED);
    assertThat(browser.find("input[name='set.volume']").getAttribute("value")).isEqualTo("311 mL");

    press("replay");
    assertThat(browser.text("main")).contains("Say why");
    assertThat(state(entry)).isEqualTo(EntryState.REJECTED);

    go("/entry/" + entry.id());
    browser.find("input[name='set.volume']").sendKeys("311 mL");
    browser.find("#why").sendKeys("unit missing, read off the device");
    press("replay");
    assertThat(browser.text("[role=status]")).contains("processed again", "Back to the queue");
    await().untilAsserted(() -> assertThat(state(entry)).isEqualTo(EntryState.DELIVERED));
    go("/entry/" + entry.id());
    assertThat(browser.text(".life"))
        .contains("amended", "account a.ash", "unit missing, read off the device", "delivered");
    assertThat(browser.text("table.fields")).contains("311 mL", "amended to 311 mL");
  }

  @Test
  void several_entries_are_tried_and_discarded_at_once() throws Exception {
    List<Entry> entries = dropped(row("77", "", "PRE") + row("78", "", "PRE"));
    go("/rejected?source=" + ELM);
    for (Entry entry : entries) {
      browser.find("input[name=entry][value='" + entry.id() + "']").click();
    }
    press("try");
    assertThat(browser.text("main"))
        .contains("0 of 2 would be accepted", "would be rejected: unit-missing");
    assertThat(entries).allMatch(entry -> state(entry) == EntryState.REJECTED);

    browser.follow(browser.driver().findElement(By.linkText("Back to the queue")));
    for (Entry entry : entries) {
      browser.find("input[name=entry][value='" + entry.id() + "']").click();
    }
    browser.find("#why").sendKeys("practice scans, told so by the ward");
    press("discard");
    assertThat(browser.text("main")).contains("Done for 2 of 2");
    assertThat(entries).allMatch(entry -> state(entry) == EntryState.DISCARDED);
  }

  @Test
  void the_queue_is_narrowed_by_source_code_and_date() {
    go("/rejected");
    browser.find("#code option[value=code-unmapped]").click();
    browser.follow(browser.find("form[method=get] button"));
    assertThat(browser.all("tbody tr")).isNotEmpty();
    assertThat(browser.all("tbody tr")).allMatch(row -> !row.getText().contains("unit"));
    go("/rejected?since=2199-01-01");
    assertThat(browser.text("main")).contains("Nothing is rejected that fits this");
  }

  @Test
  void an_auditor_searches_verifies_and_follows_one_entry() throws Exception {
    Entry entry = dropped(row("91", "", "PRE")).get(0);
    go("/trail?entry=" + entry.id());
    assertThat(browser.all("tbody tr")).isNotEmpty();
    assertThat(browser.text("tbody")).contains("→ rejected");
    browser.follow(browser.driver().findElement(By.linkText(String.valueOf(entry.id()))));
    assertThat(browser.text("h1")).isEqualTo("Entry " + entry.id());
    go("/trail");
    browser.follow(browser.find("form[method=post][action='/trail'] button"));
    assertThat(browser.text(".notice")).contains("The trail holds");
  }

  @Test
  void the_sum_is_proved_and_skipped_exams_are_shown() throws Exception {
    exam += 2;
    dropped(row("100", "ml", "PRE"));
    go("/reconcile");
    assertThat(browser.text("main")).contains("AV-0012", String.format("%04d", exam - 1));
    browser.follow(browser.find("form[action='/reconcile'] button"));
    assertThat(browser.text(".notice")).contains("Everything adds up");
  }

  @Test
  void an_informatics_nurse_maps_a_code_weighs_it_uses_it_and_brings_the_old_one_back()
      throws Exception {
    Entry entry = dropped(row("205", "ml", "Q7")).get(0);
    go("/mappings");
    assertThat(browser.text("main")).contains("Q7");
    browser.follow(browser.driver().findElement(By.linkText(ELM)));
    String before = Objects.requireNonNull(browser.find("#text").getAttribute("value"));

    edit(before.replace("fields:", "fields: ["));
    press("try");
    assertThat(browser.text(".errors")).contains("cannot be used", ELM + ".yaml:");

    edit(before.replace("PRE: pre-void", "PRE: pre-void, Q7: pre-void"));
    fill("#sample", HEADER + row("99", "ml", "Q7"));
    press("try");
    assertThat(browser.text("[aria-labelledby=tried]")).contains("ready", "99 mL", "pre-void");

    press("weigh");
    assertThat(browser.text("[aria-labelledby=effect]"))
        .contains("nothing written", String.valueOf(entry.id()), "0 of the last delivered ones");
    assertThat(Objects.requireNonNull(site.plant.feeds().of(ELM).codes().get("purpose")).word("Q7"))
        .isNull();

    browser.find("#why").sendKeys("the ward's new word for before the void");
    press("activate");
    assertThat(browser.text("[role=status]")).contains("It is in use");
    assertThat(Files.readString(folder.resolve("mappings/" + ELM + ".yaml")))
        .contains("Q7: pre-void");
    assertThat(dropped(row("206", "ml", "Q7")).get(0).state()).isNotEqualTo(EntryState.REJECTED);

    browser.follow(browser.driver().findElement(By.linkText("Load version 1")));
    assertThat(browser.text("main")).contains("not in use");
    assertThat(browser.find("#text").getAttribute("value")).isEqualTo(before);
    browser.find("#why").sendKeys("only tried");
    press("activate");
    assertThat(dropped(row("207", "ml", "Q7")).get(0).state()).isEqualTo(EntryState.REJECTED);
    go("/trail?event=mapping-activated");
    assertThat(browser.text("tbody"))
        .contains("account a.ash", "the ward's new word", "only tried");
  }

  @Test
  void one_click_on_an_unmapped_code_leads_to_a_row_that_is_filled_with_it() throws Exception {
    Entry entry = dropped(row("208", "ml", "R8")).get(0);
    go("/mappings");
    assertThat(browser.text("[aria-labelledby=unmapped]")).contains("R8");
    WebElement line =
        browser.all("[aria-labelledby=unmapped] tbody tr").stream()
            .filter(each -> each.getText().contains("R8"))
            .findFirst()
            .orElseThrow();
    browser.follow(line.findElement(By.linkText("Make a row for it")));
    assertThat(browser.driver().getCurrentUrl())
        .as("what was sent stands in no address")
        .contains("entry=" + entry.id())
        .doesNotContain("R8");
    assertThat(browser.text("[aria-labelledby=row-h]")).contains("R8", "Ask the ward");
    browser.assertAccessible();
    browser.picture(Path.of("target/pictures/console-new-row.png"));
    browser.find("#word option[value=pre-void]").click();
    press("row");
    assertThat(browser.text("[role=status]")).contains("stands in the text below");
    assertThat(browser.find("#text").getDomProperty("value")).contains("\"R8\": pre-void");
    browser.find("#why").sendKeys("the ward says so");
    press("activate");
    assertThat(browser.text("[role=status]")).contains("It is in use");
    assertThat(dropped(row("209", "ml", "R8")).get(0).state()).isNotEqualTo(EntryState.REJECTED);
  }

  @Test
  void what_is_still_wrong_after_processing_again_is_not_shown_as_done() throws Exception {
    Entry entry = dropped(row("210", "ml", "R9")).get(0);
    go("/entry/" + entry.id());
    assertThat(browser.find(".todo a").getText()).isEqualTo("Make a row for it");
    browser.find("#why").sendKeys("tried again");
    press("replay");
    assertThat(browser.text(".notice.bad")).contains("still rejected");
    assertThat(browser.all(".notice.good")).isEmpty();
  }

  @Test
  void the_json_that_is_sent_is_copied_as_it_stands() throws Exception {
    Entry entry = dropped(row("144", "ml", "PRE")).get(0);
    await().untilAsserted(() -> assertThat(state(entry)).isEqualTo(EntryState.DELIVERED));
    browser
        .driver()
        .executeCdpCommand(
            "Browser.grantPermissions",
            Map.of("permissions", List.of("clipboardReadWrite", "clipboardSanitizedWrite")));
    go("/entry/" + entry.id());
    browser.unfold("#bundle");
    browser.bring("button.copy").click();
    await().until(() -> !browser.text(".copied").isEmpty());
    String copied =
        (String)
            browser
                .driver()
                .executeAsyncScript(
                    "const done = arguments[0];"
                        + "navigator.clipboard.readText().then(done, e => done('' + e))");
    JsonNode bundle = Json.MAPPER.readTree(copied);
    assertThat(bundle.path("resourceType").asText()).isEqualTo("Bundle");
    assertThat(copied)
        .isEqualTo(browser.find("#bundle").getDomProperty("textContent"))
        .contains("144");
  }

  @Test
  void a_rejected_entry_prints_on_one_sheet_without_buttons() throws Exception {
    Entry entry = dropped(row("388", "", "PRE")).get(0);
    go("/entry/" + entry.id());
    Object printed =
        browser
            .driver()
            .executeCdpCommand("Page.printToPDF", Map.of("paperWidth", 8.27, "paperHeight", 11.69))
            .get("data");
    byte[] pdf = Base64.getDecoder().decode(Objects.toString(printed));
    Path file = Path.of("target/pictures/console-entry-sheet.pdf");
    Files.createDirectories(Objects.requireNonNull(file.getParent()));
    Files.write(file, pdf);
    String text = new String(pdf, StandardCharsets.ISO_8859_1);
    assertThat(text).startsWith("%PDF-");
    assertThat(Pattern.compile("/Type */Page[^s]").matcher(text).results().count())
        .isBetween(1L, 2L);

    browser.driver().executeCdpCommand("Emulation.setEmulatedMedia", Map.of("media", "print"));
    try {
      assertThat(browser.all("nav, button, .account"))
          .isNotEmpty()
          .noneMatch(WebElement::isDisplayed);
      assertThat(browser.text(".sheet-only")).contains("Entry " + entry.id());
      assertThat(browser.text("main")).contains("unit-missing", "9990000018");
      browser.picture(Path.of("target/pictures/console-entry-sheet.png"));
    } finally {
      browser.driver().executeCdpCommand("Emulation.setEmulatedMedia", Map.of("media", ""));
    }
  }

  @Test
  void days_are_those_of_the_site_and_say_so() {
    SiteDays days = new SiteDays(site.plant.settings().console().zone(), site.plant.clock());
    for (String path : List.of("/reconcile", "/rejected", "/trail")) {
      go(path);
      assertThat(browser.text("main")).contains("Days in " + days.words());
    }
    go("/rejected?since=" + LocalDate.now(days.zone()));
    assertThat(browser.all("tbody tr")).isNotEmpty();
  }

  private static void edit(String text) {
    fill("#text", text);
  }

  private static void fill(String css, String text) {
    browser.driver().executeScript("arguments[0].value = arguments[1]", browser.find(css), text);
  }

  @Test
  void whoever_may_only_look_finds_nothing_to_press() {
    signIn("v.fir");
    try {
      Entry any = site.plant.ledger().queue().page(Queue.Filter.ALL, Queue.Place.START, 1).get(0);
      go("/entry/" + any.id());
      assertThat(browser.text("h1")).isEqualTo("Entry " + any.id());
      assertThat(browser.all("button[name=do]")).isEmpty();
      go("/rejected");
      assertThat(browser.all("button[name=do], input[name=entry]")).isEmpty();
      assertThat(browser.all("nav a")).noneMatch(link -> link.getText().equals("Trail"));
    } finally {
      signIn("a.ash");
    }
  }

  @ParameterizedTest
  @ValueSource(
      strings = {
        "/",
        "/?span=fortnight",
        "/rejected",
        "/rejected?code=none",
        "/entry/1",
        "/entry/2",
        "/entry/99999",
        "/trail",
        "/reconcile",
        "/mappings",
        "/password"
      })
  void every_page_is_accessible_fits_a_phone_and_breaks_no_policy(String path) {
    go(path);
    browser.assertAccessible();
    browser.show(Browser.Screen.PHONE);
    assertThat(browser.overhang()).isZero();
    assertThat(browser.complaints()).noneMatch(line -> line.contains("Security Policy"));
  }

  @Test
  void signing_in_says_what_is_wrong_and_is_accessible() {
    browser.driver().manage().deleteAllCookies();
    go("/rejected?source=" + ELM);
    browser.assertAccessible();
    browser.find("#name").sendKeys("a.ash");
    browser.find("#password").sendKeys("wrong");
    browser.follow(browser.find("form button.main"));
    assertThat(browser.text("[role=alert]")).contains("do not belong together");
    browser.assertAccessible();
    browser.find("#name").sendKeys("a.ash");
    browser.find("#password").sendKeys("five herons over the weir");
    browser.follow(browser.find("form button.main"));
    assertThat(browser.text("h1")).isEqualTo("Rejected");
    assertThat(browser.driver().getCurrentUrl()).endsWith("/rejected?source=" + ELM);
  }
}
