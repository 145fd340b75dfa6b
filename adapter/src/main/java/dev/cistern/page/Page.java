// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.page;

import gg.jte.Content;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import org.jspecify.annotations.Nullable;

/**
 * One page that is to be sent.
 *
 * @param title what stands in the window's title and in the page's first heading
 * @param template the template below {@code src/main/jte}, with its folder: {@code
 *     bedside/form.jte}
 * @param here the path of the navigation's link that the page belongs to; null for none
 * @param assets style sheets and scripts of its own, by the names in {@code resources/assets}
 * @param account what stands at the end of the header: who is signed in; null for nothing
 * @param model the template's parameters beside {@code frame}
 */
public record Page(
    String title,
    String template,
    @Nullable String here,
    List<String> assets,
    @Nullable Content account,
    Map<String, Object> model) {

  public Page {
    assets = List.copyOf(assets);
    model = Map.copyOf(model);
  }

  public static Page of(String title, String template) {
    return new Page(title, template, null, List.of(), null, Map.of());
  }

  public Page at(String path) {
    return new Page(title, template, path, assets, account, model);
  }

  public Page needing(String... names) {
    return new Page(title, template, here, List.of(names), account, model);
  }

  public Page signedIn(Content who) {
    return new Page(title, template, here, assets, who, model);
  }

  public Page with(String parameter, Object value) {
    Map<String, Object> more = new LinkedHashMap<>(model);
    more.put(parameter, value);
    return new Page(title, template, here, assets, account, more);
  }

  /** Never shows the model: it may be patient data. */
  @Override
  public String toString() {
    return "Page[" + template + "]";
  }
}
