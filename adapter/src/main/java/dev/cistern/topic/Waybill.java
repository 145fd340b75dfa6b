// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.topic;

import dev.cistern.scan.Sha256;
import java.nio.charset.StandardCharsets;
import java.time.Instant;
import java.util.ArrayList;
import java.util.List;
import java.util.regex.Pattern;
import org.apache.kafka.common.header.Header;
import org.apache.kafka.common.header.Headers;
import org.apache.kafka.common.header.internals.RecordHeader;
import org.jspecify.annotations.Nullable;

/**
 * What a publishing node says about the bytes that it took, as headers of their record.
 *
 * @param source the source's name at that node
 * @param kind the kind of transport there
 * @param name the file's name
 * @param contentType the media type
 * @param key the key under which a form was posted
 * @param node which node took it
 * @param by who posted it, where that is known
 * @param arrived when that node took it
 */
record Waybill(
    String source,
    String kind,
    @Nullable String name,
    @Nullable String contentType,
    @Nullable String key,
    String node,
    @Nullable String by,
    Instant arrived) {
  private static final String PREFIX = "cistern-";
  private static final Pattern SOURCE = Pattern.compile("[A-Za-z0-9][A-Za-z0-9-]{0,39}");
  private static final Pattern NAMING = Pattern.compile("[A-Za-z0-9][A-Za-z0-9 ._@-]{0,99}");
  private static final int LONGEST = 1000;

  List<Header> headers() {
    List<Header> headers = new ArrayList<>();
    add(headers, "source", source);
    add(headers, "kind", kind);
    add(headers, "name", name);
    add(headers, "content-type", contentType);
    add(headers, "key", key);
    add(headers, "node", node);
    add(headers, "by", by);
    add(headers, "arrived", Long.toString(arrived.toEpochMilli()));
    return headers;
  }

  private static void add(List<Header> headers, String name, @Nullable String value) {
    if (value != null) {
      headers.add(new RecordHeader(PREFIX + name, value.getBytes(StandardCharsets.UTF_8)));
    }
  }

  /** Null where no node of ours wrote it: it names no source, or says what no node says. */
  static @Nullable Waybill read(Headers headers) {
    String source = text(headers, "source");
    String kind = text(headers, "kind");
    String node = text(headers, "node");
    String arrived = text(headers, "arrived");
    String by = text(headers, "by");
    if (source == null || kind == null || node == null || arrived == null) {
      return null;
    }
    if (!SOURCE.matcher(source).matches()
        || !SOURCE.matcher(kind).matches()
        || !NAMING.matcher(node).matches()
        || !(by == null || NAMING.matcher(by).matches())
        || !arrived.matches("\\d{1,15}")) {
      return null;
    }
    return new Waybill(
        source,
        kind,
        printable(text(headers, "name")),
        printable(text(headers, "content-type")),
        key(text(headers, "key")),
        node,
        by,
        Instant.ofEpochMilli(Long.parseLong(arrived)));
  }

  /** Not every store takes control characters, and a record must never hold up those behind it. */
  private static @Nullable String printable(@Nullable String text) {
    return text == null || text.chars().anyMatch(Character::isISOControl) ? null : text;
  }

  /** A key is needed as it is, or as something that is the same for the same key. */
  private static @Nullable String key(@Nullable String key) {
    return key == null || printable(key) != null
        ? key
        : "sha256:" + Sha256.hex(key.getBytes(StandardCharsets.UTF_8));
  }

  private static @Nullable String text(Headers headers, String name) {
    Header header = headers.lastHeader(PREFIX + name);
    byte[] value = header == null ? null : header.value();
    return value == null || value.length > LONGEST
        ? null
        : new String(value, StandardCharsets.UTF_8);
  }

  /** Never shows the name or the key: a sender may have put a patient into them. */
  @Override
  public String toString() {
    return "Waybill[" + source + " " + kind + "]";
  }
}
