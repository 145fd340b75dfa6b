// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.load;

import dev.cistern.crash.history.Meant;
import java.nio.charset.StandardCharsets;
import java.util.List;

/** What is handed over in one go, and what its sender means by it. */
public record Batch(byte[] bytes, List<Meant> meant) {
  public Batch {
    bytes = bytes.clone();
    meant = List.copyOf(meant);
  }

  static Batch of(CharSequence text, List<Meant> meant) {
    return new Batch(text.toString().getBytes(StandardCharsets.UTF_8), meant);
  }

  /** Makes one batch after the other. */
  public interface Writer {
    Batch next();
  }
}
