// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.intake;

import dev.cistern.ledger.Handover;
import dev.cistern.ledger.Inbox;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.Tx;
import dev.cistern.scan.Sha256;
import java.io.IOException;
import java.io.InputStream;
import java.security.MessageDigest;
import java.util.ArrayList;
import java.util.HexFormat;
import java.util.List;
import java.util.function.Function;

/**
 * Commits the bytes of a submission. When {@link #receive} returns, they are synced to disk; when
 * it throws, or the process dies before, the sender still has them and was told nothing.
 */
public final class Intake implements Keeping {
  /** Pieces that share one transaction: a large file never holds the store for long. */
  private static final int CHUNKS_A_COMMIT = 16;

  private final Ledger ledger;
  private final String actor;

  public Intake(Ledger ledger, String actor) {
    this.ledger = ledger;
    this.actor = actor;
  }

  /**
   * Commits everything that the stream holds.
   *
   * @return the number of the submission
   * @throws IOException where the stream cannot be read to its end; nothing is kept then
   */
  public long receive(Handover handover, InputStream bytes) throws IOException {
    return receive(handover, bytes, () -> {});
  }

  @Override
  public long receive(Handover handover, InputStream bytes, LastLook lastLook) throws IOException {
    long[] opened = {-1};
    try {
      return receive(handover, bytes, lastLook, opened);
    } catch (IOException e) {
      if (opened[0] >= 0) {
        ledger.inbox().drop(actor, opened[0]);
      }
      throw e;
    }
  }

  private long receive(Handover handover, InputStream bytes, LastLook lastLook, long[] opened)
      throws IOException {
    MessageDigest sha = Sha256.start();
    long submission = -1;
    long size = 0;
    int number = 0;
    while (true) {
      List<byte[]> chunks = read(bytes, sha);
      boolean last = chunks.size() < CHUNKS_A_COMMIT;
      if (last) {
        lastLook.look();
      }
      size += chunks.stream().mapToLong(chunk -> chunk.length).sum();
      submission = commit(handover, submission, number, chunks, last ? end(sha, size) : null);
      opened[0] = submission;
      number += chunks.size();
      if (last) {
        return submission;
      }
    }
  }

  private record End(String sha256, long size) {}

  private static End end(MessageDigest sha, long size) {
    return new End(HexFormat.of().formatHex(sha.digest()), size);
  }

  private long commit(
      Handover handover,
      long submission,
      int number,
      List<byte[]> chunks,
      @org.jspecify.annotations.Nullable End end) {
    Inbox inbox = ledger.inbox();
    Function<Tx, Long> work =
        tx -> {
          long id = submission < 0 ? inbox.open(tx, handover) : submission;
          int next = number;
          for (byte[] chunk : chunks) {
            inbox.chunk(tx, id, next++, chunk);
          }
          if (end != null) {
            inbox.received(tx, id, end.sha256(), end.size());
          }
          return id;
        };
    // What is not acknowledged yet may come in any order.
    return end == null ? ledger.writeAside(actor, work) : ledger.write(actor, work);
  }

  /** Up to one transaction's worth; fewer pieces only at the end. */
  private static List<byte[]> read(InputStream bytes, MessageDigest sha) throws IOException {
    List<byte[]> chunks = new ArrayList<>();
    while (chunks.size() < CHUNKS_A_COMMIT) {
      byte[] chunk = bytes.readNBytes(Inbox.CHUNK);
      if (chunk.length > 0) {
        sha.update(chunk);
        chunks.add(chunk);
      }
      if (chunk.length < Inbox.CHUNK) {
        break;
      }
    }
    return chunks;
  }
}
