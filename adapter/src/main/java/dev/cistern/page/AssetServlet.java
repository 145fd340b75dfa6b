// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.page;

import jakarta.servlet.http.HttpServlet;
import jakarta.servlet.http.HttpServletRequest;
import jakarta.servlet.http.HttpServletResponse;
import java.io.IOException;

/** Answers {@code /assets/HASH/NAME}; 404 for a hash that is not the content's. */
public final class AssetServlet extends HttpServlet {
  private static final long serialVersionUID = 1L;
  private static final String FOR_EVER = "public, max-age=31536000, immutable";

  private final transient Assets assets;

  public AssetServlet(Assets assets) {
    this.assets = assets;
  }

  @Override
  protected void doGet(HttpServletRequest request, HttpServletResponse response)
      throws IOException {
    String[] parts = request.getRequestURI().substring(Assets.ROOT.length()).split("/", -1);
    Assets.Asset asset = parts.length == 2 ? assets.find(parts[1]).orElse(null) : null;
    if (asset == null || !asset.hash().equals(parts[0])) {
      // A page that is older than this program asks for what is gone: it must not get another one.
      response.sendError(HttpServletResponse.SC_NOT_FOUND);
      return;
    }
    assets.send(response, parts[1], FOR_EVER);
  }
}
