// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import static dev.cistern.ledger.EntryState.DELIVERED;
import static dev.cistern.ledger.EntryState.READY;
import static dev.cistern.ledger.EntryState.REJECTED;
import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Answer;
import dev.cistern.scan.Place;
import dev.cistern.scan.Refined;
import dev.cistern.scan.Scan;
import dev.cistern.scan.ScanKey;
import dev.cistern.scan.Status;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.Collections;
import java.util.List;
import java.util.Objects;
import java.util.Random;
import java.util.TreeMap;
import org.jspecify.annotations.Nullable;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.ValueSource;

/** Several scans of one exam, of which one is accepted at most. */
@EachEngine
class SittingsTest {
  private Store store;

  @BeforeEach
  void open(@TempDir Path folder) {
    store = Store.in(folder);
  }

  @AfterEach
  void close() {
    assertThat(store.proof().holds()).isTrue();
    store.close();
  }

  private static Refined scan(int number, int revision, @Nullable Answer accepted) {
    return scan("9990000018", number, revision, Status.FINAL, accepted);
  }

  private static Refined scan(
      String patient, int number, int revision, Status status, @Nullable Answer accepted) {
    Scan plain = Store.version("0007", revision, status, 100 + number).scan();
    Scan.Handling h = plain.handling();
    Scan scan =
        new Scan(
            new Scan.Subject(patient, null, null, null, null, null, null),
            plain.measurement(),
            plain.voiding(),
            plain.exam(),
            plain.axes(),
            plain.device(),
            new Scan.Handling(h.examId(), number, accepted, null, null, revision, null),
            plain.asSent());
    return new Refined(
        Place.ordinal(1),
        scan,
        ScanKey.ofScan("AV-0012", "0007", number),
        List.of(),
        "willow-lines@1",
        "shipped@1",
        java.time.Duration.ofHours(12));
  }

  @Test
  void every_scan_of_a_sitting_is_a_result_of_its_own() {
    assertThat(
            store.filed(
                List.of(scan(1, 1, Answer.NO), scan(2, 1, Answer.YES), scan(3, 1, Answer.NO))))
        .extracting(Filing.Filed::state)
        .containsOnly(READY);
    assertThat(store.filed(scan(2, 1, Answer.YES)).state()).isEqualTo(EntryState.DUPLICATE);
  }

  @Test
  void a_second_accepted_scan_is_held_and_goes_on_when_the_first_gives_way() {
    long first = store.filed(scan(1, 1, Answer.YES)).entry();
    store.delivered(store.claimed());
    Filing.Filed second = store.filed(scan(2, 1, Answer.YES));
    assertThat(second.state()).isEqualTo(REJECTED);
    assertThat(store.entry(second.entry()).code()).isEqualTo("accepted-twice");
    assertThat(second.findings())
        .last()
        .satisfies(f -> assertThat(f.message()).contains("Entry " + first));

    long gave = store.filed(scan(1, 2, Answer.NO)).entry();
    assertThat(store.state(second.entry())).isEqualTo(READY);
    assertThat(store.entry(second.entry()).findings()).isEmpty();
    assertThat(store.trail(second.entry()))
        .extracting(event -> event.event() + " " + event.from() + " " + event.to())
        .containsExactly(
            "refined null rejected", "replayed rejected waiting", "refined waiting ready");
    assertThat(store.state(gave)).isEqualTo(READY);
  }

  @Test
  void it_goes_on_when_the_first_is_withdrawn() {
    store.filed(scan(1, 1, Answer.YES));
    long second = store.filed(scan(2, 1, Answer.YES)).entry();
    store.filed(scan("9990000018", 1, 2, Status.ENTERED_IN_ERROR, Answer.YES));
    assertThat(store.state(second)).isEqualTo(READY);
  }

  @Test
  void of_several_that_are_held_one_goes_on() {
    store.filed(scan(1, 1, Answer.YES));
    long second = store.filed(scan(2, 1, Answer.YES)).entry();
    long third = store.filed(scan(3, 1, Answer.YES)).entry();
    store.filed(scan(1, 2, Answer.NO));
    assertThat(store.state(second)).isEqualTo(READY);
    assertThat(store.state(third)).isEqualTo(REJECTED);
  }

  @Test
  void what_is_held_for_something_else_too_stays_held() {
    store.filed(scan(1, 1, Answer.YES));
    Refined other = scan(2, 1, Answer.YES).with(Store.rejecting("unit-missing"));
    long second = store.filed(other).entry();
    store.filed(scan(1, 2, Answer.NO));
    assertThat(store.entry(second).code()).isEqualTo("unit-missing");
  }

  @Test
  void another_patient_has_another_sitting() {
    store.filed(scan(1, 1, Answer.YES));
    assertThat(store.filed(scan("9990000026", 2, 1, Status.FINAL, Answer.YES)).state())
        .isEqualTo(READY);
  }

  /** A sender changes its mind now and then, and in the end accepts one scan. */
  @ParameterizedTest
  @ValueSource(longs = {1, 2, 3, 5, 8, 13, 21, 34})
  void what_stands_in_the_end_does_not_depend_on_the_order_of_arrival(
      long seed, @TempDir Path folders) {
    Random random = new Random(seed);
    List<Refined> versions = new ArrayList<>();
    int last = 1 + random.nextInt(3);
    for (int number = 1; number <= 3; number++) {
      int revisions = 1 + random.nextInt(3);
      for (int revision = 1; revision <= revisions; revision++) {
        boolean accepted = revision == revisions ? number == last : random.nextBoolean();
        versions.add(scan(number, revision, accepted ? Answer.YES : Answer.NO));
      }
    }
    TreeMap<Integer, Integer> expected = new TreeMap<>();
    versions.forEach(v -> expected.merge(number(v.scan()), revision(v.scan()), Math::max));
    for (int order = 0; order < 12; order++) {
      Collections.shuffle(versions, random);
      try (Store other = Store.in(folders.resolve("order-" + order))) {
        for (Refined version : versions) {
          other.filed(version);
          if (random.nextInt(3) == 0) {
            deliverAll(other);
          }
        }
        deliverAll(other);
        TreeMap<Integer, Integer> stands = new TreeMap<>();
        for (long id = 1; id <= versions.size(); id++) {
          Entry entry = other.entry(id);
          Scan scan = Objects.requireNonNull(entry.scan());
          assertThat(entry.state())
              .as("seed %s, %s", seed, scan.handling().scanNumber())
              .isIn(DELIVERED, EntryState.SUPERSEDED, REJECTED);
          if (entry.state() == DELIVERED) {
            assertThat(stands.put(number(scan), revision(scan))).isNull();
          }
        }
        assertThat(stands).as("seed %s, order %s", seed, order).isEqualTo(expected);
      }
    }
  }

  private static void deliverAll(Store store) {
    for (int i = 0; i < 100; i++) {
      List<Entry> claimed = store.ledger.outbox().claim(Store.NODE, 1, Store.LEASE);
      if (claimed.isEmpty()) {
        return;
      }
      store.delivered(claimed.get(0));
    }
    throw new AssertionError("the queue does not drain");
  }

  private static int number(Scan scan) {
    return Objects.requireNonNull(scan.handling().scanNumber());
  }

  private static int revision(Scan scan) {
    return Objects.requireNonNull(scan.handling().revision());
  }
}
