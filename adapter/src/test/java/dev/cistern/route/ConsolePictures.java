// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.testing.Browser;
import java.nio.file.Path;
import java.util.LinkedHashMap;
import java.util.Map;

/**
 * Takes pictures of the console of a running adapter, as they stand in the documentation.
 * Arguments: its address, a name and a password to sign in with, a folder, and an entry to show.
 */
final class ConsolePictures {
  private ConsolePictures() {}

  public static void main(String[] arguments) throws Exception {
    String address = arguments[0];
    Path folder = Path.of(arguments[3]);
    Map<String, String> pages = new LinkedHashMap<>();
    pages.put("overview", "/");
    pages.put("rejected", "/rejected");
    pages.put("entry", "/entry/" + arguments[4]);
    pages.put("reconcile", "/reconcile");
    pages.put("trail", "/trail");
    pages.put("mappings", "/mappings");
    pages.put("mapping", "/mappings/elm-ward-export");
    try (Browser browser = Browser.open()) {
      browser.go(address + "/");
      browser.picture(folder.resolve("sign-in.png"));
      browser.find("#name").sendKeys(arguments[1]);
      browser.find("#password").sendKeys(arguments[2]);
      browser.find("form button.main").click();
      for (Browser.Screen screen : Browser.Screen.values()) {
        for (Map.Entry<String, String> page : pages.entrySet()) {
          browser.show(screen);
          browser.go(address + page.getValue());
          String name = page.getKey() + "-" + screen.name().toLowerCase(java.util.Locale.ROOT);
          browser.picture(folder.resolve(name + ".png"));
        }
      }
      browser.dark(true);
      browser.show(Browser.Screen.DESK);
      browser.go(address + "/");
      browser.picture(folder.resolve("overview-dark.png"));
      browser.go(address + "/entry/" + arguments[4]);
      browser.picture(folder.resolve("entry-dark.png"));
    }
  }
}
