// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.demo.Demo;
import dev.cistern.ledger.Role;
import dev.cistern.testing.Browser;
import dev.cistern.testing.Browser.Screen;
import java.nio.file.Files;
import java.nio.file.Path;

/**
 * Takes pictures of the console of a demo, as they stand in the documentation. Argument: the folder
 * for them.
 */
final class ConsolePictures {
  private static final String NAME = "n.ash";

  private ConsolePictures() {}

  public static void main(String[] arguments) throws Exception {
    Path folder = Path.of(arguments[0]);
    Path site = Files.createTempDirectory("cistern-pictures-").resolve("site");
    try (Browser browser = Browser.open();
        Demo demo = Demo.start(site, null)) {
      demo.feed();
      AccessTest.account(demo.plant(), NAME, Role.VIEW, Role.OPERATE, Role.AUDIT, Role.MAP);
      String entry = "/entry/" + demo.rejected().get(0).id();
      browser.go(demo.address() + "/");
      browser.picture(folder.resolve("console-sign-in.png"));
      browser.find("#name").sendKeys(NAME);
      browser.find("#password").sendKeys(AccessTest.PASSWORD);
      browser.follow("form button.main");
      String[][] pages = {
        {"overview", "/"},
        {"rejected", "/rejected"},
        {"entry", entry},
        {"reconcile", "/reconcile"},
        {"trail", "/trail"},
        {"mappings", "/mappings"},
        {"mapping", "/mappings/elm-ward-export"},
        {"policy", "/policy"},
        {"codes", "/codes"},
        {"password", "/password"}
      };
      for (Screen screen : Screen.values()) {
        browser.show(screen);
        for (String[] page : pages) {
          browser.go(demo.address() + page[1]);
          String end =
              screen == Screen.DESK ? "" : "-" + screen.name().toLowerCase(java.util.Locale.ROOT);
          browser.picture(folder.resolve("console-" + page[0] + end + ".png"));
        }
      }
      browser.show(Screen.DESK);
      browser.dark(true);
      browser.go(demo.address() + "/");
      browser.picture(folder.resolve("console-overview-dark.png"));
    }
  }
}
