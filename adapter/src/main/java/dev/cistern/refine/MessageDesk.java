// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.refine;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.json.Json;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Filing;
import dev.cistern.ledger.Handover;
import dev.cistern.ledger.Inbox;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.Submission;
import dev.cistern.ledger.Tx;
import dev.cistern.mapping.DecodeReason;
import dev.cistern.mapping.EntryReader;
import dev.cistern.mapping.Limits;
import dev.cistern.mapping.Mapping;
import dev.cistern.normalise.NormaliseReason;
import dev.cistern.scan.Arrival;
import dev.cistern.scan.Finding;
import dev.cistern.scan.RawEntry;
import dev.cistern.scan.Reason;
import dev.cistern.scan.Refined;
import dev.cistern.scan.Sha256;
import java.io.ByteArrayInputStream;
import java.io.IOException;
import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.Set;
import java.util.function.Consumer;
import java.util.stream.Collectors;
import java.util.stream.Stream;
import org.jspecify.annotations.Nullable;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/**
 * Takes messages whose senders wait for an answer: the bytes, the results that they hold, what the
 * sender is told and the trail are one commit, and the answer follows it. The same bytes again get
 * the same answer and make nothing new.
 */
public final class MessageDesk implements Messages {
  private static final Logger log = LoggerFactory.getLogger(MessageDesk.class);

  /** What the sender can put right: the message, or how it is mapped. */
  private static final Set<String> NOT_UNDERSTOOD =
      Stream.<Reason>concat(Stream.of(DecodeReason.values()), Stream.of(NormaliseReason.values()))
          .map(Reason::code)
          .collect(Collectors.toUnmodifiableSet());

  private final Ledger ledger;
  private final Feeds feeds;
  private final Refinery refinery;
  private final Clock clock;
  private final String actor;
  private final Consumer<Filing.Filed> rejected;

  /**
   * @param rejected is told of each entry that was rejected, after the commit
   */
  public MessageDesk(
      Ledger ledger,
      Feeds feeds,
      Refinery refinery,
      Clock clock,
      String actor,
      Consumer<Filing.Filed> rejected) {
    this.ledger = ledger;
    this.feeds = feeds;
    this.refinery = refinery;
    this.clock = clock;
    this.actor = actor;
    this.rejected = rejected;
  }

  /** A result of the message that was not understood, and is held. */
  public record Held(long entry, String code) {}

  /**
   * What the sender is told: the message is kept.
   *
   * @param held the results of it that nobody could make sense of
   */
  public record Kept(List<Held> held) {
    public Kept {
      held = List.copyOf(held);
    }
  }

  private record Done(Kept told, List<Filing.Filed> filed) {}

  @Override
  public Kept receive(String source, String kind, byte[] message) {
    Mapping mapping = feeds.of(source);
    String sha = Sha256.hex(message);
    Handover handover = new Handover(source, kind, null, null, null);
    Instant now = clock.instant();
    Done done;
    try {
      List<Refined> results = refined(mapping, source, now, message);
      done = ledger.write(actor, tx -> keep(tx, handover, sha, message, results));
    } catch (IOException | Unsplit e) {
      log.error("a message of {} is kept unread for now: {}", source, e.getClass().getName());
      done = ledger.write(actor, tx -> keep(tx, handover, sha, message, null));
    }
    done.filed().stream().filter(each -> each.state() == EntryState.REJECTED).forEach(rejected);
    return done.told();
  }

  /** A message that made the decoder itself fail. */
  private static final class Unsplit extends RuntimeException {
    private static final long serialVersionUID = 1L;

    Unsplit(Throwable cause) {
      super(cause.getClass().getName(), null, false, false);
    }
  }

  private List<Refined> refined(Mapping mapping, String source, Instant now, byte[] message)
      throws IOException {
    List<RawEntry> entries = new ArrayList<>();
    try (EntryReader reader =
        mapping.open(new ByteArrayInputStream(message), null, Limits.standard())) {
      for (RawEntry raw = reader.next(); raw != null; raw = reader.next()) {
        entries.add(raw);
      }
    } catch (RuntimeException | StackOverflowError e) {
      throw new Unsplit(e);
    }
    return entries.stream()
        .map(
            raw ->
                refinery.refine(
                    mapping, raw, Map.of(), new Arrival(source, now, raw.place().ordinal(), null)))
        .toList();
  }

  /**
   * @param results null where the message could not be split off: it is durable all the same, and
   *     splitting it off is tried again where a poison message can be set apart
   */
  private Done keep(
      Tx tx, Handover handover, String sha, byte[] message, @Nullable List<Refined> results) {
    Inbox inbox = ledger.inbox();
    String before = inbox.told(tx, handover.source(), sha).orElse(null);
    if (before != null) {
      return new Done(read(before), List.of());
    }
    long id = inbox.whole(tx, handover, sha, message);
    List<Filing.Filed> filed = results == null ? List.of() : file(tx, id, results);
    Kept told = new Kept(filed.stream().flatMap(MessageDesk::held).toList());
    inbox.answered(tx, id, write(told));
    return new Done(told, filed);
  }

  private List<Filing.Filed> file(Tx tx, long id, List<Refined> results) {
    Submission submission = ledger.inbox().find(tx, id);
    List<Filing.Filed> filed = ledger.filing().file(tx, submission, results, EntryState.REJECTED);
    ledger.inbox().progress(tx, submission, results.size(), true, Duration.ZERO);
    return filed;
  }

  private static Stream<Held> held(Filing.Filed filed) {
    if (filed.state() != EntryState.REJECTED) {
      return Stream.empty();
    }
    return filed.findings().stream()
        .filter(Finding::rejects)
        .map(Finding::code)
        .filter(NOT_UNDERSTOOD::contains)
        .limit(1)
        .map(code -> new Held(filed.entry(), code));
  }

  private static String write(Kept told) {
    return Json.text(
        json -> {
          json.writeStartObject();
          json.writeArrayFieldStart("held");
          for (Held each : told.held()) {
            json.writeStartObject();
            json.writeNumberField("entry", each.entry());
            json.writeStringField("code", each.code());
            json.writeEndObject();
          }
          json.writeEndArray();
          json.writeEndObject();
        });
  }

  private static Kept read(String told) {
    List<Held> held = new ArrayList<>();
    for (JsonNode each : Json.tree(told).path("held")) {
      held.add(new Held(each.path("entry").asLong(), each.path("code").asText()));
    }
    return new Kept(held);
  }
}
