// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.page;

import dev.cistern.scan.Sha256;
import jakarta.servlet.http.HttpServletResponse;
import java.io.IOException;
import java.io.InputStream;
import java.io.UncheckedIOException;
import java.util.Map;
import java.util.Objects;
import java.util.Optional;
import java.util.concurrent.ConcurrentHashMap;
import java.util.regex.Pattern;

/**
 * Style sheets, scripts and pictures from the jar. An asset's address carries the hash of its
 * content, so that browsers may keep it for ever and a new version has a new address.
 */
public final class Assets {
  static final String ROOT = "/assets/";
  private static final Pattern NAME = Pattern.compile("[a-z0-9-]+\\.(css|js|svg)");
  private static final int HASH = 16;
  private static final Map<String, String> TYPES =
      Map.of(
          "css", "text/css;charset=utf-8",
          "js", "text/javascript;charset=utf-8",
          "svg", "image/svg+xml");

  /** An asset's bytes. */
  record Asset(String type, String hash, byte[] bytes) {
    @Override
    public String toString() {
      return "Asset[" + type + ", " + hash + "]";
    }
  }

  private final Map<String, Optional<Asset>> known = new ConcurrentHashMap<>();

  /**
   * The address of an asset.
   *
   * @throws IllegalArgumentException where the jar has none of that name
   */
  public String path(String name) {
    Asset asset =
        find(name).orElseThrow(() -> new IllegalArgumentException("there is no asset " + name));
    return ROOT + asset.hash() + "/" + name;
  }

  /**
   * Sends an asset.
   *
   * @param keeping how long it may be kept: the value of Cache-Control
   */
  public void send(HttpServletResponse response, String name, String keeping) throws IOException {
    Asset asset = find(name).orElseThrow();
    response.setContentType(asset.type());
    response.setHeader("Cache-Control", keeping);
    response.setContentLength(asset.bytes().length);
    response.getOutputStream().write(asset.bytes());
  }

  Optional<Asset> find(String name) {
    return NAME.matcher(name).matches()
        ? known.computeIfAbsent(name, Assets::read)
        : Optional.empty();
  }

  private static Optional<Asset> read(String name) {
    try (InputStream in = Assets.class.getResourceAsStream(ROOT + name)) {
      if (in == null) {
        return Optional.empty();
      }
      byte[] bytes = in.readAllBytes();
      String type = Objects.requireNonNull(TYPES.get(name.substring(name.indexOf('.') + 1)));
      return Optional.of(new Asset(type, Sha256.hex(bytes).substring(0, HASH), bytes));
    } catch (IOException e) {
      throw new UncheckedIOException("the asset " + name + " could not be read", e);
    }
  }
}
