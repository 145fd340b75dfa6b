// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.page;

import gg.jte.ContentType;
import gg.jte.TemplateEngine;
import gg.jte.output.Utf8ByteOutput;
import jakarta.servlet.http.HttpServletResponse;
import java.io.IOException;
import java.util.HashMap;
import java.util.List;
import java.util.Map;

/** Renders pages within the frame. A page is rendered whole before its first byte is sent. */
public final class Pages {
  public static final String TYPE = "text/html;charset=utf-8";

  private final TemplateEngine templates;
  private final List<Link> links;
  private final Assets assets;
  private final String version;

  /**
   * @param links the navigation of all pages
   * @param version this program's version, for the foot of the page
   */
  public Pages(List<Link> links, Assets assets, String version) {
    this(TemplateEngine.createPrecompiled(ContentType.Html), links, assets, version);
  }

  private Pages(TemplateEngine templates, List<Link> links, Assets assets, String version) {
    this.templates = templates;
    this.links = List.copyOf(links);
    this.assets = assets;
    this.version = version;
  }

  /** The same pages under another navigation. */
  public Pages navigating(List<Link> other) {
    return new Pages(templates, other, assets, version);
  }

  public void send(HttpServletResponse response, int status, Page page) throws IOException {
    byte[] html = render(page);
    response.setStatus(status);
    response.setContentType(TYPE);
    response.setContentLength(html.length);
    response.getOutputStream().write(html);
  }

  /** A page as the bytes of {@link #TYPE}. */
  public byte[] render(Page page) {
    Map<String, Object> model = new HashMap<>(page.model());
    model.put("frame", new Frame(page, links, assets, version));
    Utf8ByteOutput html = new Utf8ByteOutput();
    templates.render(page.template(), model, html);
    return html.toByteArray();
  }
}
