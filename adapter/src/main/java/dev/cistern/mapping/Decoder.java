// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import dev.cistern.scan.Place;
import dev.cistern.scan.RawEntry;
import java.io.IOException;
import java.io.InputStream;
import org.jspecify.annotations.Nullable;

/** Makes entries of the bytes of one format. Holds no state of a submission. */
interface Decoder {
  EntryReader open(InputStream bytes, @Nullable String contentType, Limits limits)
      throws IOException;

  /** One entry again; see {@link Mapping#readAt}. */
  RawEntry readAt(ByteSource bytes, @Nullable String contentType, Place place, Limits limits)
      throws IOException;
}
