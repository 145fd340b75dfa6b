// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.page;

import java.util.List;

/** What the layout shows around a page's content; every template's parameter {@code frame}. */
public record Frame(Page page, List<Link> links, Assets assets, String version) {
  public Frame {
    links = List.copyOf(links);
  }

  public boolean isHere(Link link) {
    return link.path().equals(page.here());
  }

  public List<String> styles() {
    return named(".css");
  }

  public List<String> scripts() {
    return named(".js");
  }

  private List<String> named(String end) {
    return page.assets().stream().filter(name -> name.endsWith(end)).map(assets::path).toList();
  }
}
