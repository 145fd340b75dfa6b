// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import dev.cistern.scan.Sha256;
import java.io.ByteArrayInputStream;
import java.io.IOException;
import java.io.InputStream;
import java.io.SequenceInputStream;
import java.security.MessageDigest;
import java.time.Duration;
import java.time.Instant;
import java.util.Arrays;
import java.util.Collections;
import java.util.Enumeration;
import java.util.HexFormat;
import java.util.List;
import java.util.NoSuchElementException;
import java.util.Objects;
import java.util.Optional;

/** Submissions and their bytes. */
public final class Inbox {
  /** The bytes are kept in pieces of this size, so that no reader needs more than one in memory. */
  public static final int CHUNK = 256 * 1024;

  private static final Duration LONGEST_ARRIVAL = Duration.ofDays(1);

  private final Ledger ledger;

  Inbox(Ledger ledger) {
    this.ledger = ledger;
  }

  /**
   * Opens a submission: its bytes follow with {@link #chunk}; nothing is acknowledged before {@link
   * #received}. A crash in between leaves it "arriving", which {@link #dropUnfinished} clears away:
   * its sender was told nothing and still has it.
   */
  public long open(Tx tx, Handover handover) {
    return tx.handle()
        .createUpdate(Sql.of("submission-open"))
        .bind("source", handover.source())
        .bind("kind", handover.kind())
        .bind("name", handover.name())
        .bind("contentType", handover.contentType())
        .bind("idempotencyKey", handover.idempotencyKey())
        .bind("owner", tx.actor())
        .bind("now", tx.now().toEpochMilli())
        .executeAndReturnGeneratedKeys("id")
        .mapTo(Long.class)
        .one();
  }

  public void chunk(Tx tx, long submission, int number, byte[] bytes) {
    tx.handle()
        .createUpdate(Sql.of("submission-chunk"))
        .bind("submission", submission)
        .bind("number", number)
        .bind("bytes", bytes)
        .bind("sha256", Sha256.of(bytes))
        .execute();
  }

  /** The last piece of the transaction after which the sender may be answered. */
  public void received(Tx tx, long submission, String sha256, long size) {
    int rows =
        tx.handle()
            .createUpdate(Sql.of("submission-received"))
            .bind("submission", submission)
            .bind("now", tx.now().toEpochMilli())
            .bind("sha256", sha256)
            .bind("size", size)
            .execute();
    if (rows == 0) {
      throw new LedgerUnavailable(
          "submission " + submission + " was cleared away while it arrived; send it again");
    }
    tx.trail(
        "received",
        submission,
        null,
        null,
        null,
        "{\"sha256\":\"" + sha256 + "\",\"bytes\":" + size + "}");
  }

  /**
   * Opens, fills and closes a submission whose bytes are all here; durable with the transaction.
   *
   * @return the number of the submission
   */
  public long whole(Tx tx, Handover handover, String sha256, byte[] bytes) {
    long id = open(tx, handover);
    for (int from = 0, number = 0; from < bytes.length; from += CHUNK, number++) {
      chunk(tx, id, number, Arrays.copyOfRange(bytes, from, Math.min(from + CHUNK, bytes.length)));
    }
    received(tx, id, sha256, bytes.length);
    return id;
  }

  /**
   * Says on the trail by which way a submission came here.
   *
   * @param detail JSON that holds nothing of a patient
   */
  public void cameBy(Tx tx, long submission, String detail) {
    tx.trail("came-by", submission, null, null, null, detail);
  }

  /** Keeps what the sender of a submission is told, for when it sends the same again. */
  public void answered(Tx tx, long submission, String answer) {
    tx.handle()
        .createUpdate(Sql.of("submission-answered"))
        .bind("submission", submission)
        .bind("answer", answer)
        .execute();
  }

  /** What the sender of these very bytes was told; empty where they are new. */
  public Optional<String> told(Tx tx, String source, String sha256) {
    return tx.handle()
        .createQuery(Sql.of("submission-told"))
        .bind("source", source)
        .bind("sha256", sha256)
        .mapTo(String.class)
        .findFirst();
  }

  /**
   * Clears away what a crash left half received: of this actor, or of anybody where it is so old
   * that nobody is at it any more. Returns how many.
   */
  public int dropUnfinished(String actor) {
    return ledger.write(
        actor,
        tx -> {
          long before = tx.now().minus(LONGEST_ARRIVAL).toEpochMilli();
          tx.handle()
              .createUpdate(Sql.of("submission-drop-chunks"))
              .bind("owner", actor)
              .bind("before", before)
              .execute();
          return tx.handle()
              .createUpdate(Sql.of("submission-drop"))
              .bind("owner", actor)
              .bind("before", before)
              .execute();
        });
  }

  /** Clears away a submission whose sender failed half way. */
  public void drop(String actor, long submission) {
    ledger.write(
        actor,
        tx -> {
          tx.handle()
              .createUpdate(Sql.of("submission-drop-chunks-of"))
              .bind("submission", submission)
              .execute();
          return tx.handle()
              .createUpdate(Sql.of("submission-drop-one"))
              .bind("submission", submission)
              .execute();
        });
  }

  /** Claims the oldest submission that is not all refined, for as long as the lease runs. */
  public Optional<Submission> claim(String owner, Duration lease) {
    if (!ledger.read(handle -> anyOpen(handle, ledger.now()))) {
      return Optional.empty();
    }
    return ledger.write(
        owner,
        tx ->
            Seals.claiming(
                () ->
                    tx.handle()
                        .createQuery(Sql.of("submission-claim"))
                        .bind("now", tx.now().toEpochMilli())
                        .bind("farthest", Ledger.farthest(tx.now()))
                        .bind("until", tx.now().plus(lease).toEpochMilli())
                        .bind("owner", owner)
                        .map((rs, context) -> Submission.read(rs))
                        .findFirst()));
  }

  private static boolean anyOpen(org.jdbi.v3.core.Handle handle, Instant now) {
    return handle
        .createQuery(Sql.of("submission-any-open"))
        .bind("now", now.toEpochMilli())
        .bind("farthest", Ledger.farthest(now))
        .mapTo(Integer.class)
        .findFirst()
        .isPresent();
  }

  /**
   * Records progress under a claim; false where the claim was lost to another one, in which case
   * the caller must roll back.
   */
  public boolean progress(Tx tx, Submission claimed, int entries, boolean done, Duration lease) {
    return tx.handle()
            .createUpdate(Sql.of("submission-progress"))
            .bind("submission", claimed.id())
            .bind("fence", claimed.fence())
            .bind("entries", entries)
            .bind("state", done ? "refined" : "received")
            .bind("until", done ? 0 : tx.now().plus(lease).toEpochMilli())
            .execute()
        == 1;
  }

  /**
   * Lets a claim run out on its own without counting it as a try: nothing was begun. Until then
   * other submissions come first.
   */
  public void setAside(String actor, Submission claimed) {
    ledger.write(
        actor,
        tx ->
            Seals.claiming(
                () ->
                    tx.handle()
                        .createUpdate(Sql.of("submission-set-aside"))
                        .bind("submission", claimed.id())
                        .bind("fence", claimed.fence())
                        .execute()));
  }

  /** Gives a claim back, to be claimed at once and not counted: the store failed, not its work. */
  public void giveBack(String actor, Submission claimed) {
    ledger.write(
        actor,
        tx ->
            Seals.claiming(
                () ->
                    tx.handle()
                        .createUpdate(Sql.of("submission-give-back"))
                        .bind("submission", claimed.id())
                        .bind("fence", claimed.fence())
                        .execute()));
  }

  public Optional<Submission> find(long submission) {
    return ledger.read(handle -> find(handle, submission));
  }

  /** A submission as this transaction sees it. */
  public Submission find(Tx tx, long submission) {
    return find(tx.handle(), submission).orElseThrow();
  }

  private static Optional<Submission> find(org.jdbi.v3.core.Handle handle, long submission) {
    return handle
        .createQuery(Sql.of("submission-find"))
        .bind("submission", submission)
        .map((rs, context) -> Submission.read(rs))
        .findFirst();
  }

  /** Opens a submission again, to be read on behind so many entries. */
  void reopen(Tx tx, long submission, int entries) {
    tx.handle()
        .createUpdate(Sql.of("submission-reopen"))
        .bind("submission", submission)
        .bind("entries", entries)
        .execute();
  }

  public Optional<Submission> withIdempotencyKey(Tx tx, String source, String key) {
    return tx.handle()
        .createQuery(Sql.of("submission-by-idempotency-key"))
        .bind("source", source)
        .bind("key", key)
        .bind("hashed", Purge.hashed(key))
        .map((rs, context) -> Submission.read(rs))
        .findFirst();
  }

  /** The raw bytes of a submission were purged. */
  public static final class Purged extends dev.cistern.scan.CisternException {
    private static final long serialVersionUID = 1L;

    Purged(long submission, Instant at) {
      super(
          "The raw bytes of submission "
              + submission
              + " were purged on "
              + at.toString().substring(0, 10)
              + "; its hash and its trail are kept.");
    }
  }

  /**
   * The whole submission as a stream that holds one chunk at a time.
   *
   * @throws Purged where they are kept no longer
   */
  public InputStream bytes(long submission) {
    long size = requireKept(submission);
    return new SequenceInputStream(
        new Enumeration<InputStream>() {
          private int number;
          private Optional<byte[]> next = chunk(0);

          private Optional<byte[]> chunk(int n) {
            Optional<byte[]> chunk = Inbox.this.chunk(submission, n);
            if (chunk.isEmpty() && (long) n * CHUNK < size) {
              throw damaged(submission);
            }
            return chunk;
          }

          @Override
          public boolean hasMoreElements() {
            return next.isPresent();
          }

          @Override
          public InputStream nextElement() {
            byte[] bytes = next.orElseThrow(NoSuchElementException::new);
            next = chunk(++number);
            return new ByteArrayInputStream(bytes);
          }
        });
  }

  private static LedgerDamaged damaged(long submission) {
    return new LedgerDamaged(
        "the raw bytes of submission " + submission + " are not those that were received");
  }

  /** The size of a submission; 0 where there is none. */
  private long requireKept(long submission) {
    Submission found = find(submission).orElse(null);
    if (found == null) {
      return 0;
    }
    if (found.purgedAt() != null) {
      throw new Purged(submission, found.purgedAt());
    }
    return found.size();
  }

  /** Whether the raw bytes are those that were received: all of them, by their hash. */
  static boolean whole(org.jdbi.v3.core.Handle handle, Submission submission) {
    MessageDigest digest = Sha256.start();
    long[] size = new long[1];
    handle
        .createQuery(Sql.of("submission-chunks"))
        .bind("submission", submission.id())
        .setFetchSize(1)
        .map((rs, context) -> rs.getBytes("bytes"))
        .forEach(
            bytes -> {
              digest.update(bytes);
              size[0] += bytes.length;
            });
    return size[0] == submission.size()
        && HexFormat.of().formatHex(digest.digest()).equals(submission.sha256());
  }

  /**
   * Some of a submission's bytes: every chunk but the last is {@link #CHUNK} long.
   *
   * @throws Purged where they are kept no longer
   */
  public byte[] bytes(long submission, long offset, int length) throws IOException {
    long size = requireKept(submission);
    int first = Math.toIntExact(offset / CHUNK);
    int last = Math.toIntExact((offset + Math.max(length, 1) - 1) / CHUNK);
    List<InputStream> parts =
        java.util.stream.IntStream.rangeClosed(first, last)
            .mapToObj(number -> chunk(submission, number, size))
            .map(bytes -> (InputStream) new ByteArrayInputStream(bytes))
            .toList();
    byte[] all = new SequenceInputStream(Collections.enumeration(parts)).readAllBytes();
    int start = Math.min((int) (offset - (long) first * CHUNK), all.length);
    return Arrays.copyOfRange(all, start, Math.min(start + length, all.length));
  }

  private byte[] chunk(long submission, int number, long size) {
    Optional<byte[]> chunk = chunk(submission, number);
    if (chunk.isEmpty() && (long) number * CHUNK < size) {
      throw damaged(submission);
    }
    return chunk.orElse(new byte[0]);
  }

  private Optional<byte[]> chunk(long submission, int number) {
    return ledger.read(
        handle ->
            handle
                .createQuery(Sql.of("submission-chunk-of"))
                .bind("submission", submission)
                .bind("number", number)
                .map(
                    (rs, context) -> {
                      byte[] bytes = Objects.requireNonNullElse(rs.getBytes("bytes"), new byte[0]);
                      if (!Arrays.equals(rs.getBytes("sha256"), Sha256.of(bytes))) {
                        throw damaged(submission);
                      }
                      return bytes;
                    })
                .findFirst());
  }
}
