// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import java.io.BufferedInputStream;
import java.io.IOException;
import java.io.InputStream;
import java.nio.charset.Charset;

/**
 * A stream of which the beginning has been looked at.
 *
 * @param in behind the byte-order mark
 * @param head the first bytes, with the mark
 */
@SuppressWarnings("ArrayRecordComponent") // never compared
record Opened(BufferedInputStream in, byte[] head, Encoding encoding) {
  private static final int HEAD = 4096;

  /**
   * @param charset what applies without a byte-order mark
   */
  static Opened of(InputStream bytes, Charset charset) throws IOException {
    BufferedInputStream in = new BufferedInputStream(bytes, 1 << 16);
    in.mark(HEAD);
    byte[] head = in.readNBytes(HEAD);
    in.reset();
    Encoding encoding = Encoding.of(head, charset);
    in.skipNBytes(encoding.bom());
    return new Opened(in, head, encoding);
  }
}
