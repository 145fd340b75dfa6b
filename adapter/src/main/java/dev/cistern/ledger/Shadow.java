// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.io.IOException;
import java.nio.ByteBuffer;
import java.nio.channels.FileChannel;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.StandardOpenOption;
import java.util.HexFormat;
import java.util.Locale;
import java.util.regex.Matcher;
import java.util.regex.Pattern;
import org.jdbi.v3.core.Jdbi;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/**
 * A small file beside the store that says how far the trail had come at the last commit. A store
 * whose end was lost (a cut file, a damaged write-ahead log, an old copy put in its place) is whole
 * in itself and ends before it. The file is written after each commit and never synced: after a
 * power cut it may lag behind the store, which is no harm.
 */
final class Shadow implements AutoCloseable {
  /** Its name in the data folder. */
  static final String FILE = "ledger.head";

  private static final Logger log = LoggerFactory.getLogger(Shadow.class);
  private static final Pattern LINE = Pattern.compile("(\\d{19}) ([0-9a-f]{64})\n");

  private final Path file;
  private final FileChannel channel;
  private boolean failed;

  private Shadow(Path file, FileChannel channel) {
    this.file = file;
    this.channel = channel;
  }

  static Shadow open(Path folder) {
    Path file = folder.resolve(FILE);
    try {
      return new Shadow(
          file, FileChannel.open(file, StandardOpenOption.CREATE, StandardOpenOption.WRITE));
    } catch (IOException e) {
      throw new LedgerUnavailable(
          "the file " + file + " cannot be written; check its permissions", e);
    }
  }

  /** Notes the end of the chain after a commit; a failure costs protection, not results. */
  void note(long seq, byte[] hash) {
    String line = String.format(Locale.ROOT, "%019d %s\n", seq, HexFormat.of().formatHex(hash));
    try {
      channel.write(ByteBuffer.wrap(line.getBytes(StandardCharsets.US_ASCII)), 0);
      failed = false;
    } catch (IOException e) {
      if (!failed) {
        log.warn("{} cannot be written: {}", FILE, e.getClass().getSimpleName());
      }
      failed = true;
    }
  }

  /**
   * @throws LedgerDamaged where the store does not lead through what was noted
   */
  void check(Jdbi jdbi) {
    Matcher line = LINE.matcher(read());
    if (!line.matches()) {
      return; // Nothing was noted yet.
    }
    long seq = Long.parseLong(line.group(1));
    String hash = jdbi.withHandle(handle -> Trail.hashAt(handle, seq).orElse(null));
    if (hash == null) {
      throw new LedgerDamaged(
          "its trail ends before event "
              + seq
              + ", which was committed here; if you put an older copy in its place on purpose,"
              + " remove the file "
              + FILE
              + " beside it and start again");
    }
    if (!hash.equals(line.group(2))) {
      throw new LedgerDamaged(
          "event "
              + seq
              + " of its trail is not the one that was committed here; if you put another copy in its"
              + " place on purpose, remove the file "
              + FILE
              + " beside it and start again");
    }
  }

  private String read() {
    try {
      return Files.readString(file, StandardCharsets.ISO_8859_1);
    } catch (IOException e) {
      throw new LedgerUnavailable("the file " + file + " cannot be read", e);
    }
  }

  @Override
  public void close() {
    try {
      channel.close();
    } catch (IOException e) {
      log.warn("{} could not be closed: {}", FILE, e.getClass().getSimpleName());
    }
  }
}
