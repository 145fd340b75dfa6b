// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.testing;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.fail;
import static org.awaitility.Awaitility.await;
import static org.junit.jupiter.api.Assumptions.assumeTrue;

import java.io.File;
import java.io.IOException;
import java.io.InputStream;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Duration;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import org.openqa.selenium.By;
import org.openqa.selenium.Keys;
import org.openqa.selenium.OutputType;
import org.openqa.selenium.StaleElementReferenceException;
import org.openqa.selenium.WebDriverException;
import org.openqa.selenium.WebElement;
import org.openqa.selenium.chrome.ChromeDriver;
import org.openqa.selenium.chrome.ChromeDriverService;
import org.openqa.selenium.chrome.ChromeOptions;

/**
 * A headless Chromium for tests, found where Debian installs it. Without it a test is skipped, and
 * says so; under continuous integration (CI=true) it fails instead.
 *
 * <p>Nothing is downloaded, and the pages' security policy stays as it is: scripts of tests come in
 * through the driver.
 */
public final class Browser implements AutoCloseable {
  private static final Path CHROMIUM = Path.of("/usr/bin/chromium");
  private static final Path DRIVER = Path.of("/usr/bin/chromedriver");

  /** A name of this machine that no browser takes for a secure one, as it does its address. */
  public static final String PLAIN_HOST = "ward.example";

  /** Sizes of screens that the pages are made for. */
  public enum Screen {
    /** A small phone, held upright. */
    PHONE(360, 740),
    /** A ward tablet, held upright. */
    TABLET(810, 1080),
    DESK(1280, 900);

    private final int width;
    private final int height;

    Screen(int width, int height) {
      this.width = width;
      this.height = height;
    }
  }

  private final ChromeDriver driver;
  private Screen shown = Screen.DESK;

  private Browser(ChromeDriver driver) {
    this.driver = driver;
  }

  /** Starts a browser whose clock is in Vienna; close it after use. */
  public static Browser open() {
    if (!Files.isExecutable(CHROMIUM) || !Files.isExecutable(DRIVER)) {
      String missing = "Chromium and its driver are not installed (chromium, chromium-driver)";
      if ("true".equals(System.getenv("CI"))) {
        fail(missing);
      }
      assumeTrue(false, missing);
    }
    ChromeOptions options = new ChromeOptions();
    options.setBinary(CHROMIUM.toFile());
    options.addArguments(
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-dev-shm-usage",
        "--disable-background-networking",
        "--disable-component-update",
        "--no-first-run",
        "--host-resolver-rules=MAP " + PLAIN_HOST + " 127.0.0.1");
    File executable = DRIVER.toFile();
    ChromeDriverService service =
        new ChromeDriverService.Builder()
            .usingDriverExecutable(executable)
            .usingAnyFreePort()
            .withEnvironment(Map.of("TZ", "Europe/Vienna", "LANG", "C.UTF-8"))
            .build();
    Browser browser = new Browser(new ChromeDriver(service, options));
    browser.zone("Europe/Vienna");
    browser.show(Screen.DESK);
    return browser;
  }

  /** For what has no word here. */
  public ChromeDriver driver() {
    return driver;
  }

  public void go(String address) {
    driver.get(address);
  }

  public WebElement find(String css) {
    return driver.findElement(By.cssSelector(css));
  }

  public List<WebElement> all(String css) {
    return driver.findElements(By.cssSelector(css));
  }

  /** What stands in the field of a form. */
  public String value(String name) {
    return Objects.toString(find("[name=" + name + "]").getDomProperty("value"), "");
  }

  /** Clicks on what leads to another page, and waits until that is there. */
  public void follow(String css) {
    follow(find(css));
    await().until(() -> !all("h1").isEmpty());
  }

  /** Clicks on what leads to another page, and waits for that one: it may come late. */
  public void follow(WebElement element) {
    WebElement before = find("html");
    element.click();
    await().until(() -> isGone(before) && isThere());
  }

  private static boolean isGone(WebElement page) {
    try {
      page.isEnabled();
      return false;
    } catch (StaleElementReferenceException e) {
      return true;
    } catch (WebDriverException e) {
      return false; // between the two pages
    }
  }

  private boolean isThere() {
    try {
      return "complete".equals(driver.executeScript("return document.readyState"));
    } catch (WebDriverException e) {
      return false;
    }
  }

  /** Unfolds what an element is folded away in, as a person does. */
  public void unfold(String css) {
    find("details:not([open]):has(" + css + ") > summary").sendKeys(Keys.ENTER);
  }

  /** Finds an element and scrolls to it, out from under what sticks to the edge of the screen. */
  public WebElement bring(String css) {
    WebElement element = find(css);
    driver.executeScript("arguments[0].scrollIntoView({block: 'center'})", element);
    return element;
  }

  /** The text that a person sees. */
  public String text(String css) {
    try {
      return find(css).getText();
    } catch (StaleElementReferenceException e) {
      return find(css).getText(); // it was replaced between the two steps
    }
  }

  public void show(Screen screen) {
    shown = screen;
    size(screen, screen.height);
  }

  private void size(Screen screen, long height) {
    driver.executeCdpCommand(
        "Emulation.setDeviceMetricsOverride",
        Map.of(
            "width",
            screen.width,
            "height",
            height,
            "deviceScaleFactor",
            1,
            "mobile",
            screen != Screen.DESK));
  }

  public void dark(boolean dark) {
    driver.executeCdpCommand(
        "Emulation.setEmulatedMedia",
        Map.of(
            "features",
            List.of(
                Map.of("name", "prefers-color-scheme", "value", dark ? "dark" : "light"),
                // A colour on its way to another has neither's contrast.
                Map.of("name", "prefers-reduced-motion", "value", "reduce"))));
  }

  public void scripts(boolean on) {
    driver.executeCdpCommand("Emulation.setScriptExecutionDisabled", Map.of("value", !on));
  }

  /** Takes the network away from the page, or gives it back. */
  public void online(boolean online) {
    driver.executeCdpCommand("Network.enable", Map.of());
    driver.executeCdpCommand(
        "Network.emulateNetworkConditions",
        Map.of("offline", !online, "latency", 0, "downloadThroughput", -1, "uploadThroughput", -1));
  }

  public void zone(String zone) {
    driver.executeCdpCommand("Emulation.setTimezoneOverride", Map.of("timezoneId", zone));
  }

  /** How long the page is, in pixels. */
  public long length() {
    return (Long)
        Objects.requireNonNull(
            driver.executeScript("return document.documentElement.scrollHeight"));
  }

  /**
   * A picture of the whole page, as on a screen that is long enough: what sticks lies at its end.
   */
  public void picture(Path png) throws IOException {
    size(shown, Math.max(shown.height, length()));
    screen(png);
    show(shown);
  }

  /** A picture of what the screen shows. */
  public void screen(Path png) throws IOException {
    Object shot =
        driver
            .executeCdpCommand(
                "Page.captureScreenshot", Map.of("captureBeyondViewport", false, "format", "png"))
            .get("data");
    Files.createDirectories(Objects.requireNonNull(png.getParent()));
    Files.write(png, OutputType.BYTES.convertFromBase64Png((String) Objects.requireNonNull(shot)));
  }

  /** How many pixels the page is wider than the screen: 0 where nobody has to scroll sideways. */
  public long overhang() {
    return (Long)
        Objects.requireNonNull(
            driver.executeScript(
                "return document.documentElement.scrollWidth - window.innerWidth"));
  }

  /** Fails with what axe-core finds on the page as it stands, in light and in dark. */
  public void assertAccessible() {
    for (boolean dark : List.of(false, true)) {
      dark(dark);
      assertThat(violations()).as(dark ? "dark" : "light").isEmpty();
    }
    dark(false);
  }

  @SuppressWarnings("unchecked")
  private List<String> violations() {
    driver.manage().timeouts().scriptTimeout(Duration.ofSeconds(60));
    driver.executeScript(axe());
    return (List<String>)
        Objects.requireNonNull(
            driver.executeAsyncScript(
                """
                const done = arguments[arguments.length - 1];
                axe.run(document, {resultTypes: ['violations']}).then(
                  (r) => done(r.violations.flatMap((v) => v.nodes.map(
                    (n) => v.id + ': ' + n.html + ' ' + n.failureSummary))),
                  (e) => done(['axe did not run: ' + e]));
                """));
  }

  private static String axe() {
    try (InputStream in = Browser.class.getResourceAsStream("/axe.min.js")) {
      return new String(Objects.requireNonNull(in).readAllBytes(), StandardCharsets.UTF_8);
    } catch (IOException e) {
      throw new java.io.UncheckedIOException(e);
    }
  }

  /** What the browser's console says: a blocked script or style would stand here. */
  public List<String> complaints() {
    return driver.manage().logs().get("browser").getAll().stream().map(Object::toString).toList();
  }

  @Override
  public void close() {
    driver.quit();
  }
}
