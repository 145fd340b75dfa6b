// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import dev.cistern.scan.RawEntry;
import java.io.IOException;
import org.jspecify.annotations.Nullable;

/** The entries of one submission, one by one, without ever holding all of it. */
public interface EntryReader extends AutoCloseable {

  /**
   * The next entry; null at the end. What cannot be decoded is an entry with findings.
   *
   * @throws IOException where the stream itself fails
   */
  @Nullable RawEntry next() throws IOException;

  @Override
  void close() throws IOException;
}
