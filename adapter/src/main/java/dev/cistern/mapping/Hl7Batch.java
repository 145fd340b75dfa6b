// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static dev.cistern.mapping.DecodeReason.TRUNCATED_DOCUMENT;

import dev.cistern.scan.Finding;
import java.util.regex.Pattern;
import org.jspecify.annotations.Nullable;

/** Watches the wrappers around messages: a batch without its trailer may have lost its end. */
final class Hl7Batch {
  private boolean fileOpen;
  private boolean batchOpen;
  private int messages;

  static boolean isWrapper(String segment) {
    return segment.startsWith("FHS")
        || segment.startsWith("BHS")
        || segment.startsWith("BTS")
        || segment.startsWith("FTS");
  }

  void message() {
    messages++;
  }

  /** What a wrapper gives away; null where all is well. */
  @Nullable Finding wrapper(String segment) {
    switch (segment.substring(0, 3)) {
      case "FHS" -> fileOpen = true;
      case "FTS" -> fileOpen = false;
      case "BHS" -> {
        batchOpen = true;
        messages = 0;
      }
      default -> {
        batchOpen = false;
        String[] fields =
            segment.length() < 5
                ? new String[0]
                : segment.split(Pattern.quote(segment.substring(3, 4)), -1);
        if (fields.length > 1
            && fields[1].matches("[0-9]{1,9}")
            && Integer.parseInt(fields[1]) != messages) {
          return TRUNCATED_DOCUMENT.found(
              "The batch says that it holds "
                  + fields[1]
                  + " messages, and there are "
                  + messages
                  + ".");
        }
      }
    }
    return null;
  }

  /** What the end of the submission gives away; null where all is well. */
  @Nullable Finding end() {
    return fileOpen || batchOpen
        ? TRUNCATED_DOCUMENT.found(
            "The batch of messages has no end segment, so that messages may be missing.")
        : null;
  }
}
