// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import dev.cistern.scan.RawEntry;
import java.io.IOException;
import java.io.InputStream;
import org.jspecify.annotations.Nullable;

/** The entries of a document that is read as a whole, when the first of them is asked for. */
final class DocumentReader implements EntryReader {

  /** The records of a document. */
  interface Entries {
    int count();

    RawEntry entry(int index);
  }

  /** Reads the document. */
  interface Opening {
    Entries open() throws IOException, DecodeFault;
  }

  private final InputStream in;
  private final Opening opening;
  private @Nullable Entries entries;
  private int next;
  private boolean over;

  DocumentReader(InputStream in, Opening opening) {
    this.in = in;
    this.opening = opening;
  }

  @Override
  public @Nullable RawEntry next() throws IOException {
    if (over) {
      return null;
    }
    try {
      Entries found = entries == null ? opening.open() : entries;
      entries = found;
      if (next < found.count()) {
        return found.entry(next++);
      }
      over = true;
      return null;
    } catch (DecodeFault e) {
      over = true;
      return Replay.refused(e.finding());
    }
  }

  @Override
  public void close() throws IOException {
    in.close();
  }
}
