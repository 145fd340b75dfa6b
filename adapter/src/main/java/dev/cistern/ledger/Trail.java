// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import dev.cistern.scan.Sha256;
import java.io.ByteArrayOutputStream;
import java.io.DataOutputStream;
import java.io.IOException;
import java.io.UncheckedIOException;
import java.nio.charset.StandardCharsets;
import java.security.SecureRandom;
import java.sql.ResultSet;
import java.sql.SQLException;
import java.time.Instant;
import java.util.Arrays;
import java.util.HexFormat;
import java.util.Iterator;
import java.util.Objects;
import java.util.Optional;
import org.jdbi.v3.core.Handle;
import org.jspecify.annotations.Nullable;

/**
 * The append-only audit trail. Each event's hash is SHA-256 over the hash before it and its own
 * parts, each with its length in front; the first event follows 32 zero bytes. What an event says
 * about a patient is kept beside it under a salted hash, so that it can be purged and the chain
 * still verifies.
 */
public final class Trail {
  private static final byte[] START = new byte[32];
  private static final SecureRandom RANDOM = new SecureRandom();

  private Trail() {}

  /** The end of the chain, moved on by each append within one transaction. */
  public static final class Chain {
    /** Of work that writes nothing on the trail. */
    static final Chain NONE = new Chain(-1, START);

    private long seq;
    private byte[] hash;

    Chain(long seq, byte[] hash) {
      this.seq = seq;
      this.hash = hash;
    }

    /** Notes the end of the chain beside the store. */
    void note(Shadow shadow) {
      shadow.note(seq, hash);
    }

    /** Whether there is an event at its end, and another one than at the end of the other. */
    boolean isNewTo(Chain other) {
      return seq > 0 && seq != other.seq;
    }

    Chain copy() {
      return new Chain(seq, hash);
    }

    void reset(Chain to) {
      seq = to.seq;
      hash = to.hash;
    }
  }

  /** One event as it is kept. */
  public record Event(
      long seq,
      Instant at,
      String actor,
      String event,
      @Nullable Long submission,
      @Nullable Long entry,
      @Nullable String from,
      @Nullable String to,
      @Nullable String detail,
      byte @Nullable [] payloadHash,
      byte[] hash) {

    static Event read(ResultSet rs) throws SQLException {
      return new Event(
          rs.getLong("seq"),
          Instant.ofEpochMilli(rs.getLong("at")),
          rs.getString("actor"),
          rs.getString("event"),
          Rows.longOrNull(rs, "submission_id"),
          Rows.longOrNull(rs, "entry_id"),
          rs.getString("from_state"),
          rs.getString("to_state"),
          rs.getString("detail"),
          rs.getBytes("payload_hash"),
          Objects.requireNonNullElse(rs.getBytes("hash"), new byte[0]));
    }

    byte[] hashAfter(byte[] previous) {
      ByteArrayOutputStream bytes = new ByteArrayOutputStream(256);
      try (DataOutputStream out = new DataOutputStream(bytes)) {
        out.write(previous);
        out.writeLong(seq);
        out.writeLong(at.toEpochMilli());
        part(out, actor);
        part(out, event);
        part(out, submission == null ? null : submission.toString());
        part(out, entry == null ? null : entry.toString());
        part(out, from);
        part(out, to);
        part(out, detail);
        part(out, payloadHash == null ? null : HexFormat.of().formatHex(payloadHash));
      } catch (IOException e) {
        throw new UncheckedIOException("hashing an event in memory failed", e);
      }
      return Sha256.of(bytes.toByteArray());
    }

    private static void part(DataOutputStream out, @Nullable String text) throws IOException {
      if (text == null) {
        out.writeInt(-1);
      } else {
        byte[] utf8 = text.getBytes(StandardCharsets.UTF_8);
        out.writeInt(utf8.length);
        out.write(utf8);
      }
    }

    public String hashText() {
      return HexFormat.of().formatHex(hash);
    }
  }

  /**
   * What verifying the chain came to.
   *
   * @param events how many events were read and hold
   * @param head the hash of the last one that holds
   * @param broken the number of the first event that does not; null where all do
   * @param fault what is wrong with it; null where all hold
   */
  public record Verdict(long events, String head, @Nullable Long broken, @Nullable Fault fault) {
    public boolean holds() {
      return broken == null;
    }
  }

  /** What can be wrong with an event. */
  public enum Fault {
    MISSING("it is missing, or its number was changed"),
    CHANGED("it was changed, or the event before it was replaced"),
    VALUES_CHANGED("its old and new values were changed"),
    VALUES_GONE("its old and new values are gone, and no purge says so");

    private final String sentence;

    Fault(String sentence) {
      this.sentence = sentence;
    }

    public String sentence() {
      return sentence;
    }
  }

  static Chain head(Handle handle) {
    return handle
        .createQuery(Sql.of("trail-head"))
        .map(
            (rs, context) ->
                new Chain(
                    rs.getLong("seq"),
                    Objects.requireNonNullElse(rs.getBytes("hash"), new byte[0])))
        .findFirst()
        .orElseGet(() -> new Chain(0, START));
  }

  static void append(
      Tx tx,
      String event,
      @Nullable Long submission,
      @Nullable Long entry,
      @Nullable EntryState from,
      @Nullable EntryState to,
      @Nullable String detail,
      @Nullable String payload) {
    Chain chain = tx.chain();
    if (chain == Chain.NONE) {
      throw new IllegalStateException(
          "the event " + event + " needs a turn; write it with Ledger.write");
    }
    byte[] salt = payload == null ? null : new byte[16];
    byte[] payloadHash = null;
    if (payload != null && salt != null) {
      RANDOM.nextBytes(salt);
      payloadHash = payloadHash(salt, payload);
    }
    Event next =
        new Event(
            chain.seq + 1,
            tx.now(),
            PlainText.of(tx.actor()),
            event,
            submission,
            entry,
            from == null ? null : from.code(),
            to == null ? null : to.code(),
            detail == null ? null : PlainText.of(detail),
            payloadHash,
            START);
    byte[] hash = next.hashAfter(chain.hash);
    Direct.of(tx, "trail-append")
        .bind("seq", next.seq())
        .bind("at", next.at().toEpochMilli())
        .bind("actor", next.actor())
        .bind("event", event)
        .bind("submission", submission)
        .bind("entry", entry)
        .bind("from", next.from())
        .bind("to", next.to())
        .bind("detail", next.detail())
        .bind("payloadHash", payloadHash)
        .bind("hash", hash)
        .run();
    if (payload != null) {
      tx.handle()
          .createUpdate(Sql.of("trail-payload"))
          .bind("seq", next.seq())
          .bind("salt", salt)
          .bind("payload", payload)
          .execute();
    }
    chain.seq = next.seq();
    chain.hash = hash;
  }

  /** The events of an entry, or all, in order; {@code since} and {@code entry} narrow. */
  static Iterator<Event> events(Handle handle, @Nullable Long entry, @Nullable Instant since) {
    org.jdbi.v3.core.statement.Query query =
        entry == null
            ? handle.createQuery(Sql.of("trail-list"))
            : handle.createQuery(Sql.of("trail-of-entry")).bind("entry", entry);
    return query
        .bind("since", since == null ? 0 : since.toEpochMilli())
        .setFetchSize(1000)
        .map((rs, context) -> Event.read(rs))
        .iterator();
  }

  static Optional<Event> last(Handle handle) {
    return handle
        .createQuery(Sql.of("trail-last"))
        .map((rs, context) -> Event.read(rs))
        .findFirst();
  }

  static Optional<String> hashAt(Handle handle, long seq) {
    return handle
        .createQuery(Sql.of("trail-hash-at"))
        .bind("seq", seq)
        .map((rs, context) -> hex(rs.getBytes("hash")))
        .findFirst();
  }

  private static String hex(byte @Nullable [] bytes) {
    return bytes == null ? "" : HexFormat.of().formatHex(bytes);
  }

  /**
   * @param before an event that was read before it; null where it is the first that is read
   * @throws LedgerDamaged where the event is not the one that the chain goes through
   */
  static void check(Handle handle, @Nullable Event before, Event event) {
    byte[] previous =
        before != null && before.seq() == event.seq() - 1
            ? before.hash()
            : hashAt(handle, event.seq() - 1)
                .map(HexFormat.of()::parseHex)
                .orElse(event.seq() == 1 ? START : new byte[0]);
    if (!Arrays.equals(event.hash(), event.hashAfter(previous))) {
      throw new LedgerDamaged("event " + event.seq() + " of the trail is not as it was written");
    }
  }

  /**
   * What an event says beside its detail; empty where it says nothing more, or where that was
   * purged.
   *
   * @throws LedgerDamaged where it is not as it was written
   */
  static Optional<String> payload(Handle handle, long seq) {
    Event event =
        handle
            .createQuery(Sql.of("trail-at"))
            .bind("seq", seq)
            .map((rs, context) -> Event.read(rs))
            .findFirst()
            .orElse(null);
    if (event == null || event.payloadHash() == null) {
      return Optional.empty();
    }
    if (payloadFault(handle, event) != null) {
      throw new LedgerDamaged(
          "the old and new values of event " + seq + " are not as they were written");
    }
    return handle
        .createQuery(Sql.of("trail-payload-whole"))
        .bind("seq", seq)
        .map((rs, context) -> rs.getString("payload"))
        .findFirst();
  }

  /** Walks the whole chain, and every payload that is still there. */
  static Verdict verify(Handle handle) {
    byte[] previous = START;
    long count = 0;
    Iterator<Event> events = events(handle, null, null);
    while (events.hasNext()) {
      Event event = events.next();
      Fault fault = fault(handle, event, count + 1, previous);
      if (fault != null) {
        return new Verdict(count, HexFormat.of().formatHex(previous), count + 1, fault);
      }
      previous = event.hash();
      count++;
    }
    return new Verdict(count, HexFormat.of().formatHex(previous), null, null);
  }

  private static @Nullable Fault fault(Handle handle, Event event, long expected, byte[] previous) {
    if (event.seq() != expected) {
      return Fault.MISSING;
    }
    return Arrays.equals(event.hash(), event.hashAfter(previous))
        ? payloadFault(handle, event)
        : Fault.CHANGED;
  }

  private static @Nullable Fault payloadFault(Handle handle, Event event) {
    byte[] expected = event.payloadHash();
    if (expected == null) {
      return null;
    }
    Optional<Boolean> same =
        handle
            .createQuery(Sql.of("trail-payload-whole"))
            .bind("seq", event.seq())
            .map(
                (rs, context) ->
                    rs.getBytes("salt") != null
                        && rs.getString("payload") != null
                        && Arrays.equals(
                            expected, payloadHash(rs.getBytes("salt"), rs.getString("payload"))))
            .findFirst();
    if (same.isPresent()) {
      return same.get() ? null : Fault.VALUES_CHANGED;
    }
    return purgedAfter(handle, event) ? null : Fault.VALUES_GONE;
  }

  private static boolean purgedAfter(Handle handle, Event event) {
    return handle
        .createQuery(Sql.of("trail-purged-after"))
        .bind("entry", event.entry())
        .bind("seq", event.seq())
        .mapTo(Integer.class)
        .findFirst()
        .isPresent();
  }

  private static byte[] payloadHash(byte[] salt, String payload) {
    byte[] text = payload.getBytes(StandardCharsets.UTF_8);
    byte[] all = Arrays.copyOf(salt, salt.length + text.length);
    System.arraycopy(text, 0, all, salt.length, text.length);
    return Sha256.of(all);
  }
}
