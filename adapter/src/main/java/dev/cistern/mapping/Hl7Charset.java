// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import java.nio.charset.Charset;
import java.nio.charset.StandardCharsets;
import java.util.Locale;
import java.util.Map;
import java.util.regex.Pattern;
import org.jspecify.annotations.Nullable;

/** The charset that a message names in MSH-18 (HL7 table 0211). */
final class Hl7Charset {
  private static final Map<String, String> NAMES =
      Map.ofEntries(
          Map.entry("ASCII", "US-ASCII"),
          Map.entry("ISO IR6", "US-ASCII"),
          Map.entry("UNICODE UTF-8", "UTF-8"),
          Map.entry("UTF-8", "UTF-8"),
          Map.entry("UTF8", "UTF-8"),
          Map.entry("GB 18030-2000", "GB18030"),
          Map.entry("BIG-5", "Big5"),
          Map.entry("KS X 1001", "EUC-KR"));

  private Hl7Charset() {}

  /**
   * The charset of a message.
   *
   * @param msh the MSH segment, read as if in ISO 8859-1
   * @return UTF-8 where the message names none; null where it names one that is not known
   */
  static @Nullable Charset of(String msh) {
    String[] fields =
        msh.length() < 4 ? new String[0] : msh.split(Pattern.quote(msh.substring(3, 4)), -1);
    String named = fields.length > 17 ? fields[17].split("[~^]", 2)[0].strip() : "";
    if (named.isEmpty()) {
      return StandardCharsets.UTF_8;
    }
    String name = named.toUpperCase(Locale.ROOT);
    String java = name.startsWith("8859/") ? "ISO-8859-" + name.substring(5) : NAMES.get(name);
    return java != null && java.matches("[A-Za-z0-9-]+") && Charset.isSupported(java)
        ? Charset.forName(java)
        : null;
  }
}
