// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Refined;
import dev.cistern.scan.Status;
import java.nio.file.Path;
import java.time.Duration;
import java.time.Instant;
import java.util.ArrayList;
import java.util.HashMap;
import java.util.List;
import java.util.Map;
import java.util.Random;
import java.util.Set;
import java.util.stream.Collectors;
import org.jspecify.annotations.Nullable;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.ValueSource;

/**
 * Random histories of versions of the same results, with delivery, outages, crashes and people in
 * between. The model knows nothing but how a sender orders versions: by revision, and without one
 * by status.
 */
@EachEngine
class HistoryModelTest {
  private static final List<String> EXAMS = List.of("0001", "0002");
  private static final List<Status> STATUSES =
      List.of(Status.PRELIMINARY, Status.FINAL, Status.CORRECTED, Status.ENTERED_IN_ERROR);
  private static final Set<EntryState> ACCEPTED =
      Set.of(EntryState.READY, EntryState.DELIVERED, EntryState.SUPERSEDED);
  private static final int STEPS = 60;

  private static final class History {
    final Store store;
    final Random random;
    final Map<Long, Refined> sent = new HashMap<>();
    final List<Entry> underWay = new ArrayList<>();
    final List<String> steps = new ArrayList<>();

    History(Store store, long seed) {
      this.store = store;
      this.random = new Random(seed);
    }

    void step() {
      switch (random.nextInt(12)) {
        case 0, 1, 2, 3 -> arrive();
        case 4, 5 -> claim();
        case 6, 7, 8 -> settle();
        case 9 -> {
          steps.add("time passes");
          store.clock.tick(
              random.nextBoolean() ? Store.LEASE.plusSeconds(1) : Duration.ofSeconds(1));
        }
        case 10 -> clockIsSetBack();
        default -> person();
      }
    }

    private void arrive() {
      String exam = pick(EXAMS);
      Integer revision = random.nextBoolean() ? null : random.nextInt(3);
      Refined version = Store.version(exam, revision, pick(STATUSES), 100 + random.nextInt(3));
      Filing.Filed filed = store.filed(version);
      sent.put(filed.entry(), version);
      steps.add("arrives " + text(filed.entry()) + " -> " + filed.state().code());
      acceptedOnlyAsNewest(filed);
    }

    private void acceptedOnlyAsNewest(Filing.Filed filed) {
      if (filed.state() == EntryState.READY) {
        String key = java.util.Objects.requireNonNull(store.entry(filed.entry()).keyHash());
        assertThat(sent.keySet().stream().map(store::entry))
            .filteredOn(e -> key.equals(e.keyHash()) && e.id() != filed.entry())
            .filteredOn(e -> ACCEPTED.contains(e.state()))
            .as(described("what was accepted when " + filed.entry() + " became ready"))
            .noneMatch(e -> rank(sent(e.id())) > rank(sent(filed.entry())));
      }
    }

    private void claim() {
      List<Entry> claimed =
          store.ledger.outbox().claim(Store.NODE, 1 + random.nextInt(3), Store.LEASE);
      underWay.addAll(claimed);
      claimed.forEach(entry -> steps.add("claims " + entry.id()));
    }

    private void settle() {
      if (underWay.isEmpty()) {
        return;
      }
      Entry entry = underWay.remove(random.nextInt(underWay.size()));
      Entry before = store.entry(entry.id());
      Outbox.Outcome outcome =
          switch (random.nextInt(5)) {
            case 0 -> Store.refusedByServer();
            case 1 -> new Outbox.Outcome.Later(store.clock.instant(), random.nextBoolean());
            default -> Store.landed(entry);
          };
      List<Entry> lost = store.settled(entry, outcome);
      Entry after = store.entry(entry.id());
      steps.add(
          "settles "
              + entry.id()
              + " "
              + outcome.getClass().getSimpleName()
              + " -> "
              + after.state().code()
              + (lost.isEmpty() ? "" : " (lost)"));
      if (!lost.isEmpty()) {
        assertThat(after).as(described("a lost claim writes nothing")).isEqualTo(before);
      }
    }

    private void clockIsSetBack() {
      steps.add("the clock is set back");
      store.clock.set(store.clock.instant().minusSeconds(5));
    }

    private void person() {
      List<Entry> open =
          sent.keySet().stream().sorted().map(store::entry).filter(Desk::open).toList();
      if (open.isEmpty()) {
        return;
      }
      Entry entry = pick(open);
      if (entry.state() == EntryState.REJECTED && random.nextInt(3) == 0) {
        store.ledger.desk().discard("user ward clerk", entry.id(), "not ours");
        steps.add("discards " + entry.id());
      } else {
        Filing.Filed filed =
            store
                .ledger
                .desk()
                .replay("user ward clerk", entry, Map.of(), sent(entry.id()), "looked at");
        steps.add("replays " + text(entry.id()) + " -> " + filed.state().code());
        acceptedOnlyAsNewest(filed);
      }
    }

    /** Everything that can still go out does, the server being well again. */
    void drain() {
      store.clock.tick(Duration.ofHours(1));
      for (int i = 0; i < 1_000; i++) {
        store.clock.tick(Store.LEASE.plusSeconds(1));
        List<Entry> claimed = store.ledger.outbox().claim(Store.NODE, 1, Store.LEASE);
        if (claimed.isEmpty()) {
          return;
        }
        store.delivered(claimed.get(0));
        steps.add("drains " + claimed.get(0).id());
        holds();
      }
      throw new AssertionError(described("the queue does not drain"));
    }

    void holds() {
      Reconciliation.Proof proof = store.proof();
      assertThat(proof.holds()).as(described("reconciliation " + proof)).isTrue();
      assertThat(proof.sums().stream().mapToLong(Reconciliation.Sum::total).sum())
          .as(described("every entry is in one state"))
          .isEqualTo(sent.size());
      List<Entry> all = sent.keySet().stream().map(store::entry).toList();
      for (String exam : EXAMS) {
        List<Entry> same = of(all, exam);
        assertThat(same.stream().filter(e -> e.state() == EntryState.DELIVERED))
            .as(described("one delivered of exam " + exam))
            .hasSizeLessThanOrEqualTo(1);
        assertThat(inFlight(same, store.clock.instant()))
            .as(described("one in flight of exam " + exam))
            .hasSizeLessThanOrEqualTo(1);
      }
    }

    private List<Entry> inFlight(List<Entry> same, Instant now) {
      return same.stream()
          .filter(e -> e.state() == EntryState.READY)
          .filter(
              e ->
                  store.ledger.read(
                          handle ->
                              handle
                                  .createQuery("SELECT lease_until FROM entry WHERE id = :id")
                                  .bind("id", e.id())
                                  .mapTo(Long.class)
                                  .one())
                      > now.toEpochMilli())
          .toList();
    }

    /**
     * When nothing is under way any more, the newest accepted version stands. A newer one may only
     * be missing where what took its place needs a person, or had one.
     */
    void newestStands() {
      List<Entry> all = sent.keySet().stream().map(store::entry).toList();
      assertThat(
              all.stream()
                  .filter(e -> e.state() == EntryState.READY || e.state() == EntryState.WAITING))
          .as(described("nothing waits"))
          .isEmpty();
      for (String exam : EXAMS) {
        List<Entry> same = of(all, exam);
        for (Entry stands : same) {
          if (stands.state() == EntryState.DELIVERED) {
            assertThat(same)
                .filteredOn(e -> e.state() == EntryState.SUPERSEDED)
                .filteredOn(e -> ACCEPTED.contains(inPlaceOf(e).state()))
                .as(described("versions that " + text(stands.id()) + " must not replace"))
                .noneMatch(e -> rank(sent(e.id())) > rank(sent(stands.id())));
          }
        }
      }
    }

    private Entry inPlaceOf(Entry superseded) {
      Entry entry = superseded;
      for (int i = 0; i < sent.size() && entry.state() == EntryState.SUPERSEDED; i++) {
        entry =
            store.entry(
                java.util.Objects.requireNonNull(
                    entry.otherEntry(), described("what superseded " + entry.id())));
      }
      return entry;
    }

    private List<Entry> of(List<Entry> entries, String exam) {
      String key = Store.exam(exam).hash();
      return entries.stream().filter(e -> key.equals(e.keyHash())).toList();
    }

    private static int rank(Refined version) {
      Integer revision = version.scan().handling().revision();
      int status = STATUSES.indexOf(version.scan().measurement().status());
      return (revision == null ? 0 : revision) * 10
          // Two versions of one number cannot be told apart by their status where both carry it.
          + status;
    }

    private Refined sent(long entry) {
      return java.util.Objects.requireNonNull(sent.get(entry));
    }

    private String text(long entry) {
      Scan scan = new Scan(sent(entry));
      return entry + scan.toString();
    }

    private record Scan(String exam, @Nullable Integer revision, Status status, String volume) {
      Scan(Refined refined) {
        this(
            String.valueOf(refined.scan().handling().examId()),
            refined.scan().handling().revision(),
            refined.scan().measurement().status(),
            String.valueOf(refined.scan().measurement().volume()));
      }
    }

    private <T> T pick(List<T> list) {
      return list.get(random.nextInt(list.size()));
    }

    private String described(String what) {
      return (what + "\nafter:\n  " + String.join("\n  ", steps)).replace("%", "%%");
    }
  }

  @ParameterizedTest(name = "seed {0}")
  @ValueSource(longs = {1, 2, 3, 5, 8, 13, 21, 34, 55, 89, 144, 233})
  void the_newest_version_stands_whatever_comes_in_which_order(long seed, @TempDir Path folder) {
    try (Store store = Store.in(folder)) {
      History history = new History(store, seed);
      for (int i = 0; i < STEPS; i++) {
        history.step();
        history.holds();
      }
      history.drain();
      history.newestStands();
      assertThat(
              store.trail(null).stream()
                  .filter(e -> e.to() != null)
                  .map(Trail.Event::entry)
                  .collect(Collectors.toSet()))
          .as("seed " + seed + ": each entry has its events")
          .isEqualTo(Set.copyOf(history.sent.keySet()));
    }
  }
}
