// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;
import static org.awaitility.Awaitility.await;

import dev.cistern.testing.Browser;
import dev.cistern.testing.Browser.Screen;
import java.io.IOException;
import java.nio.file.Path;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/**
 * Takes the pictures of the documentation as a nurse would come by them, into {@code
 * target/pictures}; with {@code -Dcistern.docs.write=true} into {@code docs/images}.
 */
class BedsidePicturesTest {
  private static final Path PICTURES =
      Path.of(Boolean.getBoolean("cistern.docs.write") ? "docs/images" : "target/pictures");

  @TempDir Path folder;

  @Test
  void a_shift_in_pictures() throws Exception {
    try (Browser browser = Browser.open();
        Site site = Site.start(folder, "9990000018")) {
      browser.show(Screen.PHONE);
      browser.go(site.adapter.address() + "/forms/bedside?scanner=WL-009&ward=Willow");
      shot(browser, "bedside-form-phone.png");
      assertThat(browser.length()).as("pixels to scroll through on a phone").isLessThan(2100);
      browser.screen(PICTURES.resolve("bedside-first-screen.png"));

      browser.show(Screen.TABLET);
      fill(browser);
      shot(browser, "bedside-form-tablet.png");
      browser.dark(true);
      shot(browser, "bedside-form-dark.png");
      browser.dark(false);

      type(browser, "volume", "lots");
      browser.bring("#send").click();
      await().until(() -> !browser.all(".errors").isEmpty());
      shot(browser, "bedside-refused.png");

      type(browser, "volume", "142");
      browser.show(Screen.PHONE);
      browser.online(false);
      browser.bring("#send").click();
      await().until(() -> browser.text("#waiting").contains("1 result waits"));
      shot(browser, "bedside-waiting.png");
      browser.online(true);
      await().until(() -> browser.text("#waiting").contains("is kept"));

      fill(browser);
      browser.bring("#send").click();
      await().until(() -> browser.text("h1").contains("kept"));
      shot(browser, "bedside-kept.png");
      assertThat(browser.overhang()).isZero();
    }
  }

  private static void shot(Browser browser, String name) throws IOException {
    browser.picture(PICTURES.resolve(name));
  }

  private static void type(Browser browser, String name, String text) {
    browser.find("[name=" + name + "]").clear();
    browser.find("[name=" + name + "]").sendKeys(text);
  }

  private static void fill(Browser browser) {
    type(browser, "patient", "9990000018");
    browser.bring("[value=uterus-present]").click();
    browser.bring("[name=hysterectomy][value=no]").click();
    browser.bring("[value=post-void]").click();
    browser.bring("[name=voided] ~ .now").click();
    type(browser, "voidedVolume", "210");
    browser.bring("[value=centred]").click();
    browser.unfold("[value=scar]");
    browser.bring("[value=supine]").click();
    browser.bring("[value=scar]").click();
    type(browser, "volume", "142");
    browser.bring("[name=measured] ~ .now").click();
    type(browser, "exam", "" + System.nanoTime() % 10_000);
    type(browser, "operator", "N3301");
    browser.unfold("[name=note]");
    type(browser, "note", "weak stream");
  }
}
