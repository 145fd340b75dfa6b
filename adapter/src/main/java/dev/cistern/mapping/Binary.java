// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import org.jspecify.annotations.Nullable;

/** Knows what is no text at all, from its first bytes. */
final class Binary {
  private Binary() {}

  /** What kind of file it is, as a sentence; null where it may be text. */
  static @Nullable String kind(byte[] head, Encoding encoding) {
    String known = signature(head);
    if (known != null) {
      return "This is " + known + ", not text.";
    }
    if (encoding.unit() > 1) {
      return null;
    }
    int zeros = 0;
    for (byte b : head) {
      zeros += b == 0 ? 1 : 0;
    }
    if (zeros * 3 > head.length) {
      return "Every second byte is zero: this looks like UTF-16, and the mapping says "
          + encoding.charset().name()
          + ".";
    }
    return zeros > 0 ? "The submission holds zero bytes, which no text has." : null;
  }

  private static @Nullable String signature(byte[] head) {
    if (Encoding.startsWith(head, 'P', 'K', 3, 4) || Encoding.startsWith(head, 'P', 'K', 5, 6)) {
      return "a ZIP archive or an office file";
    } else if (Encoding.startsWith(head, '%', 'P', 'D', 'F', '-')) {
      return "a PDF document";
    } else if (Encoding.startsWith(head, 0x1F, 0x8B)) {
      return "a gzip archive";
    } else if (Encoding.startsWith(head, 0xD0, 0xCF, 0x11, 0xE0)) {
      return "an old office file";
    } else if (Encoding.startsWith(head, 0x89, 'P', 'N', 'G')
        || Encoding.startsWith(head, 0xFF, 0xD8, 0xFF)) {
      return "an image";
    }
    return null;
  }
}
