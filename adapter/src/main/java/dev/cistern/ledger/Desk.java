// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import com.fasterxml.jackson.databind.JsonNode;
import com.fasterxml.jackson.databind.node.ObjectNode;
import dev.cistern.json.Json;
import dev.cistern.scan.Field;
import dev.cistern.scan.Refined;
import java.util.EnumMap;
import java.util.Map;
import java.util.Objects;
import java.util.Optional;
import org.jspecify.annotations.Nullable;

/**
 * What people do with entries that were rejected: amend, replay, discard. Each with a reason, each
 * on the trail; the raw bytes never change.
 */
public final class Desk {
  private final Ledger ledger;

  Desk(Ledger ledger) {
    this.ledger = ledger;
  }

  /** Why something cannot be done with an entry, in a sentence. */
  public static final class NotPossible extends dev.cistern.scan.CisternException {
    private static final long serialVersionUID = 1L;

    public NotPossible(String message) {
      super(message);
    }
  }

  /** The amended fields of an entry, as texts. */
  public static Map<Field, String> overlay(Entry entry) {
    Map<Field, String> fields = new EnumMap<>(Field.class);
    String overlay = entry.overlay();
    if (overlay != null) {
      Json.tree(overlay)
          .fields()
          .forEachRemaining(
              e ->
                  Field.named(e.getKey())
                      .ifPresent(field -> fields.put(field, e.getValue().asText())));
    }
    return fields;
  }

  /**
   * Whether people may still work on an entry: it is rejected, or was discarded, or a newer version
   * took its place. That one may have been refused or discarded since; whether it still counts is
   * seen when the entry is processed again.
   */
  public static boolean open(Entry entry) {
    return entry.state() == EntryState.REJECTED
        || entry.state() == EntryState.DISCARDED
        || entry.state() == EntryState.SUPERSEDED;
  }

  /**
   * Processes an entry again: what refining made of it, under today's mapping, becomes its state.
   *
   * @param amended fields that a person sets on the way; empty for a mere replay
   * @throws NotPossible where the entry is no longer open, or somebody amended it since it was read
   */
  public Filing.Filed replay(
      String actor, Entry entry, Map<Field, String> amended, Refined refined, String why) {
    return replay(actor, entry, new Amendment(amended, Map.of()), refined, why);
  }

  /**
   * What a person sets.
   *
   * @param fields as texts in canonical form
   * @param sent what the sender wrote, for the trail: the old values
   */
  public record Amendment(Map<Field, String> fields, Map<Field, String> sent) {
    public Amendment {
      fields = Map.copyOf(fields);
      sent = Map.copyOf(sent);
    }

    /** Never shows a value. */
    @Override
    public String toString() {
      return "Amendment" + fields.keySet();
    }
  }

  /** The same, with the old values as the sender wrote them. */
  public Filing.Filed replay(
      String actor, Entry entry, Amendment amendment, Refined refined, String why) {
    return ledger.write(
        actor,
        tx -> {
          Entry current = stillOpen(tx, entry.id(), "replayed");
          if (!Objects.equals(current.overlay(), entry.overlay())) {
            throw new NotPossible(
                "Entry "
                    + entry.id()
                    + " was amended by somebody else meanwhile; look at it again.");
          }
          if (!amendment.fields().isEmpty()) {
            if (current.state() == EntryState.SUPERSEDED) {
              throw new NotPossible(
                  "Entry "
                      + entry.id()
                      + " was superseded by a newer version; amend that one, or replay this one as it"
                      + " is.");
            }
            amend(tx, current, amendment, why);
          }
          replayed(tx, current, why);
          Entry waiting = find(tx, current.id()).orElseThrow();
          return ledger.filing().refile(tx, waiting, refined, EntryState.REJECTED);
        });
  }

  /**
   * Reads a submission on from an entry at which it was given up: that entry waits until it is
   * split off again.
   *
   * @throws NotPossible where the entry is no longer open
   */
  public Filing.Filed readOn(String actor, Entry entry, String why) {
    return ledger.write(
        actor,
        tx -> {
          Entry current = stillOpen(tx, entry.id(), "replayed");
          replayed(tx, current, why);
          ledger.inbox().reopen(tx, current.submission(), current.place().ordinal() - 1);
          return new Filing.Filed(current.id(), EntryState.WAITING, null, java.util.List.of());
        });
  }

  private static void replayed(Tx tx, Entry current, String why) {
    Outbox.move(tx, current.id(), current.state(), EntryState.WAITING);
    Trail.append(
        tx,
        "replayed",
        current.submission(),
        current.id(),
        current.state(),
        EntryState.WAITING,
        null,
        reason(why));
  }

  /**
   * Closes an entry without sending it.
   *
   * @throws NotPossible where the entry is not rejected
   */
  public void discard(String actor, long id, String why) {
    ledger.write(
        actor,
        tx -> {
          Entry current =
              find(tx, id).orElseThrow(() -> new NotPossible("There is no entry " + id + "."));
          if (current.state() != EntryState.REJECTED) {
            throw new NotPossible(
                "Entry "
                    + id
                    + " is "
                    + current.state().code()
                    + "; only a rejected entry can be discarded.");
          }
          Outbox.move(tx, id, EntryState.REJECTED, EntryState.DISCARDED);
          Trail.append(
              tx,
              "discarded",
              current.submission(),
              id,
              EntryState.REJECTED,
              EntryState.DISCARDED,
              null,
              reason(why));
          return current;
        });
  }

  private static Entry stillOpen(Tx tx, long id, String doing) {
    Entry current =
        find(tx, id).orElseThrow(() -> new NotPossible("There is no entry " + id + "."));
    if (!open(current)) {
      throw new NotPossible(
          "Entry "
              + id
              + " is "
              + current.state().code()
              + "; only a rejected, discarded or superseded entry can be "
              + doing
              + ".");
    }
    requireKept(current);
    return current;
  }

  /**
   * @throws NotPossible where what people would work on was purged
   */
  public static void requireKept(Entry entry) {
    if (entry.purgedAt() != null) {
      throw new NotPossible(
          "Entry "
              + entry.id()
              + " was purged on "
              + entry.purgedAt().toString().substring(0, 10)
              + "; it can be neither replayed nor amended. Its trail is kept.");
    }
  }

  private static void amend(Tx tx, Entry current, Amendment amendment, String why) {
    Map<Field, String> amended = new java.util.TreeMap<>(amendment.fields());
    ObjectNode overlay =
        current.overlay() == null
            ? Json.MAPPER.createObjectNode()
            : (ObjectNode) Json.tree(current.overlay());
    ObjectNode payload = Json.MAPPER.createObjectNode();
    payload.put("why", why);
    for (Map.Entry<Field, String> change : amended.entrySet()) {
      String key = change.getKey().key();
      payload
          .putObject(key)
          .put("old", old(current, overlay, amendment, change.getKey()))
          .put("new", change.getValue());
      overlay.put(key, change.getValue());
    }
    tx.handle()
        .createUpdate(Sql.of("entry-overlay"))
        .bind("entry", current.id())
        .bind("overlay", overlay.toString())
        .execute();
    String fields = amended.keySet().stream().map(f -> "\"" + f.key() + "\"").toList().toString();
    Trail.append(
        tx,
        "amended",
        current.submission(),
        current.id(),
        null,
        null,
        "{\"fields\":" + fields + "}",
        payload.toString());
  }

  private static @Nullable String old(
      Entry current, JsonNode overlay, Amendment amendment, Field field) {
    if (overlay.has(field.key())) {
      return overlay.get(field.key()).asText();
    }
    if (amendment.sent().containsKey(field)) {
      return amendment.sent().get(field);
    }
    dev.cistern.scan.Scan scan = current.scan();
    return scan == null ? null : scan.asSent().get(field);
  }

  private static String reason(String why) {
    return Json.MAPPER.createObjectNode().put("why", why).toString();
  }

  private static Optional<Entry> find(Tx tx, long id) {
    return Records.entry(tx.handle(), id);
  }
}
