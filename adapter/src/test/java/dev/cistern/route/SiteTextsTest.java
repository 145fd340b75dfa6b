// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;
import static org.awaitility.Awaitility.await;

import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Role;
import dev.cistern.testing.Browser;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.List;
import java.util.Objects;
import org.junit.jupiter.api.AfterAll;
import org.junit.jupiter.api.BeforeAll;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.openqa.selenium.By;
import org.openqa.selenium.WebElement;

/** The policy and the code table in a browser: from the first edit to bringing it back. */
class SiteTextsTest {
  private static final String ELM = "elm-ward-export";
  private static final String HEADER =
      "PatNo;Date;Time;Vol;Unit;Kind;LastVoid;Voided;Set;Serial;ExamNo;User\n";
  private static final Path PICTURES = Path.of("target/pictures");

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
    AccessTest.account(site.plant, "n.ash", Role.VIEW, Role.OPERATE, Role.AUDIT, Role.MAP);
    AccessTest.account(site.plant, "v.fir", Role.VIEW);
    signIn("n.ash");
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

  private static void go(String path) {
    browser.go(site.adapter.address() + path);
  }

  private static void signIn(String name) {
    browser.driver().manage().deleteAllCookies();
    go("/");
    browser.find("#name").sendKeys(name);
    browser.find("#password").sendKeys(AccessTest.PASSWORD);
    browser.follow("form button.main");
  }

  private static void press(String what) {
    browser.follow("button[name=do][value=" + what + "]");
  }

  private static String text() {
    return Objects.requireNonNull(browser.find("#text").getDomProperty("value"));
  }

  private static void edit(String text) {
    fill("#text", text);
  }

  private static void fill(String css, String text) {
    browser.driver().executeScript("arguments[0].value = arguments[1]", browser.find(css), text);
  }

  private static void choose(String mapping) {
    browser.find("#mapping option[value=" + mapping + "]").click();
  }

  private static void use(String why) {
    WebElement field = browser.bring("#why");
    field.sendKeys(why);
    press("activate");
  }

  private static String row(String volume, String kind) {
    return "9990000018;14.03.2026;09:05:00;%s;ml;%s;;;F;AV-0012;%04d;N4471\n"
        .formatted(volume, kind, ++exam);
  }

  private static List<Entry> dropped(String rows) throws Exception {
    return site.dropped(ELM, "day-" + exam + ".csv", HEADER + rows);
  }

  private static void looksRight(String name) throws Exception {
    browser.assertAccessible();
    browser.picture(PICTURES.resolve("console-" + name + ".png"));
    browser.dark(true);
    browser.picture(PICTURES.resolve("console-" + name + "-dark.png"));
    browser.dark(false);
    browser.show(Browser.Screen.PHONE);
    assertThat(browser.overhang()).isZero();
    browser.picture(PICTURES.resolve("console-" + name + "-phone.png"));
    browser.show(Browser.Screen.DESK);
  }

  @Test
  void a_policy_is_written_tried_weighed_used_and_brought_back() throws Exception {
    Entry delivered = dropped(row("450", "PRE")).get(0);
    assertThat(delivered.state()).isEqualTo(EntryState.DELIVERED);

    go("/policy");
    assertThat(browser.text("main"))
        .contains("policy shipped, version 1", "no file of its own", "reviewVolume", "1500 mL");
    assertThat(text()).contains("author: \"n.ash\"", "date: ", "version: 1");

    edit(text().replace("alarmVolume", "alarmVolum"));
    press("weigh");
    assertThat(browser.text(".errors")).contains("cannot be used", "policy.yaml:12:");
    looksRight("policy-wrong");

    String policy =
        text()
                .replace("alarmVolum:", "reviewVolume:")
                .replace("value: 500", "value: 400")
                .replace("our-site", "alder-vale")
            + "severities:\n  volume-above-review: reject\n";
    edit(policy);
    fill("#sample", HEADER + row("399", "PRE") + row("401", "PRE"));
    choose(ELM);
    press("try");
    assertThat(browser.text("[aria-labelledby=tried] tbody tr:nth-child(1)")).contains("ready");
    assertThat(browser.text("[aria-labelledby=tried] tbody tr:nth-child(2)"))
        .contains("rejected", "alder-vale, version 1");
    assertThat(text()).isEqualTo(policy);
    looksRight("policy-tried");

    press("weigh");
    assertThat(browser.text("[aria-labelledby=effect]"))
        .contains("nothing written", "1 of ", "would change", "1 of the last delivered ones")
        .contains("code: none volume-above-review", "finding volume-above-review: nothing reject");
    looksRight("policy-weighed");
    assertThat(site.plant.refinery().checks().policy().versioned()).isEqualTo("shipped@1");

    press("activate");
    assertThat(browser.text("main")).contains("Say why");
    go("/policy");
    edit(policy);
    use("the urology round wants to see these first");
    assertThat(browser.text("[role=status]")).contains("It is in use");
    assertThat(Files.readString(folder.resolve("policy.yaml"))).isEqualTo(policy);
    Entry held = dropped(row("451", "PRE")).get(0);
    assertThat(held.state()).isEqualTo(EntryState.REJECTED);
    assertThat(held.policy()).isEqualTo("alder-vale@1");
    assertThat(state(delivered)).as("what was delivered stays").isEqualTo(EntryState.DELIVERED);

    edit(policy.replace("400", "500"));
    press("weigh");
    assertThat(browser.text(".errors")).contains("Raise the version");
    press("sign");
    assertThat(text()).contains("version: 2", "value: 500", "policy: alder-vale");
    press("weigh");
    assertThat(browser.text("[aria-labelledby=effect]"))
        .contains("1 rejected ones would be accepted", String.valueOf(held.id()));
    use("too many held");
    assertThat(browser.text("#versions ~ .scroll")).contains("too many held", "account n.ash");

    browser.driver().findElement(By.linkText("Load version 1")).click();
    await().untilAsserted(() -> assertThat(text()).isEqualTo(policy));
    assertThat(browser.text("main")).contains("not in use");
    use("the round changed its mind");
    assertThat(site.plant.refinery().checks().policy().versioned()).isEqualTo("alder-vale@1");
    go("/trail?event=policy-activated");
    assertThat(browser.text("tbody"))
        .contains("account n.ash", "the urology round", "too many held", "changed its mind");
    go("/policy");
    looksRight("policy");
    assertThat(browser.complaints()).noneMatch(line -> line.contains("Content Security Policy"));
  }

  private static EntryState state(Entry entry) {
    return site.plant.ledger().records().entry(entry.id()).orElseThrow().state();
  }

  @Test
  void a_code_is_filled_in_tried_weighed_and_sent_from_then_on() throws Exception {
    dropped(row("142", "PRE"));
    go("/codes");
    assertThat(browser.text("main")).contains("98856-8", "to-be-confirmed", "none yet");
    String before = text();
    edit(before.replace("98856-8", "98856-7"));
    press("weigh");
    assertThat(browser.text(".errors")).contains("codes.csv line 2", "check digit");

    String codes =
        before.replace(
            "bladder-volume-pre-void,http://loinc.org,,,to-be-confirmed",
            "bladder-volume-pre-void,http://alder-vale.example/codes,AV-PRE,,site-confirmed");
    edit(codes);
    fill("#sample", HEADER + row("99", "PRE"));
    choose(ELM);
    press("try");
    assertThat(browser.text("[aria-labelledby=tried]"))
        .contains("ready", "http://alder-vale.example/codes|AV-PRE");
    press("weigh");
    assertThat(browser.text("[aria-labelledby=effect]"))
        .contains("code: nothing http://alder-vale.example/codes|AV-PRE");
    looksRight("codes-weighed");
    use("our own list of codes");
    assertThat(browser.text("[role=status]")).contains("It is in use");
    assertThat(Files.readString(folder.resolve("codes.csv"))).isEqualTo(codes);
    Entry fresh = dropped(row("143", "PRE")).get(0);
    go("/entry/" + fresh.id());
    browser.unfold("#bundle");
    assertThat(browser.text("#bundle")).contains("AV-PRE");

    go("/codes?shipped=1");
    assertThat(text()).isEqualTo(before);
    use("the list was withdrawn");
    go("/codes");
    assertThat(browser.text("main")).doesNotContain("AV-PRE");
    assertThat(browser.text("#versions ~ .scroll")).contains("our own list", "withdrawn");
    looksRight("codes");
  }

  @Test
  void who_may_not_map_sees_neither() {
    signIn("v.fir");
    try {
      assertThat(browser.text("nav")).doesNotContain("Policy", "Codes");
      for (String path : List.of("/policy", "/codes")) {
        go(path);
        assertThat(browser.text("main")).doesNotContain("Bring it into use");
        assertThat(browser.all("#text")).isEmpty();
      }
    } finally {
      signIn("n.ash");
    }
  }
}
