// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import java.io.ByteArrayInputStream;
import java.io.IOException;
import java.io.InputStream;

/** A submission's bytes, readable more than once. */
public interface ByteSource {
  InputStream open() throws IOException;

  /** The bytes from {@code offset}; at most {@code length} of them. */
  InputStream openAt(long offset, int length) throws IOException;

  static ByteSource of(byte[] bytes) {
    return new ByteSource() {
      @Override
      public InputStream open() {
        return new ByteArrayInputStream(bytes);
      }

      @Override
      public InputStream openAt(long offset, int length) {
        return new ByteArrayInputStream(bytes, Math.toIntExact(offset), length);
      }
    };
  }
}
