// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import dev.cistern.scan.Finding;
import java.util.List;
import org.jspecify.annotations.Nullable;

/**
 * What a record holds at one source.
 *
 * @param texts as sent; none where the source is missing
 * @param firstCounts whether the first of several texts is the one that counts
 * @param reason what is wrong with it, or worth a note; null where nothing is
 * @param message the sentence for {@code reason}
 */
record Found(
    List<String> texts, boolean firstCounts, @Nullable DecodeReason reason, String message) {
  static final Found NOTHING = new Found(List.of(), false, null, "");

  static Found text(String text) {
    return new Found(List.of(text), false, null, "");
  }

  static Found texts(List<String> texts) {
    return texts.isEmpty() ? NOTHING : new Found(texts, false, null, "");
  }

  /** Several texts of which the first is the one that counts, and the others go beside it. */
  static Found firstOf(List<String> texts) {
    return texts.isEmpty() ? NOTHING : new Found(texts, true, null, "");
  }

  static Found unusable(DecodeReason reason, String message) {
    return new Found(List.of(), false, reason, message);
  }

  Found noting(DecodeReason note, String words) {
    return new Found(texts, firstCounts, note, words);
  }

  @Nullable Finding finding(dev.cistern.scan.Field field) {
    return reason == null ? null : reason.found(field, message);
  }

  /** Never shows the texts: they may be a patient's. */
  @Override
  public String toString() {
    return "Found[" + texts.size() + "]";
  }
}
