// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.refine;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Filing;
import dev.cistern.ledger.LedgerUnavailable;
import dev.cistern.ledger.Submission;
import java.nio.file.Path;
import java.time.Duration;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.concurrent.atomic.AtomicBoolean;
import java.util.concurrent.atomic.AtomicInteger;
import java.util.stream.IntStream;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

class SubmissionRefinerTest {
  private static final Duration LEASE = Duration.ofMinutes(2);

  @TempDir Path folder;
  private Ward ward;

  @BeforeEach
  void open() {
    ward = new Ward(folder);
  }

  @AfterEach
  void close() {
    assertThat(ward.proof().holds()).isTrue();
    ward.close();
  }

  private static final class Crash extends RuntimeException {
    private static final long serialVersionUID = 1L;
  }

  private void everyRowOnce(long submission, int rows) {
    List<Entry> entries = ward.entries(submission);
    assertThat(entries)
        .extracting(e -> e.place().ordinal())
        .containsExactlyElementsOf(IntStream.rangeClosed(1, rows).boxed().toList());
    assertThat(entries).extracting(Entry::keyHash).doesNotHaveDuplicates();
    Submission done = ward.ledger.inbox().find(submission).orElseThrow();
    assertThat(done.state()).isEqualTo("refined");
    assertThat(done.entries()).isEqualTo(rows);
  }

  /** A process that claims, and dies before it gets anywhere. */
  private void dies(int times) {
    for (int i = 0; i < times; i++) {
      assertThat(ward.ledger.inbox().claim(Ward.NODE, LEASE)).isPresent();
      ward.clock.tick(LEASE);
    }
  }

  @Test
  void a_long_file_is_split_batch_by_batch_and_each_row_is_filed_once() {
    int rows = 5_000;
    long submission = ward.received(Ward.file(rows, Ward::good));

    assertThat(ward.refined()).isEqualTo(rows);

    everyRowOnce(submission, rows);
    assertThat(ward.entries(submission)).allMatch(e -> e.state() == EntryState.READY);
    assertThat(ward.refined()).as("nothing is left").isZero();
  }

  @Test
  void bad_rows_are_rejected_and_told_of_while_the_others_go_on() {
    List<Filing.Filed> told = new ArrayList<>();
    long submission =
        ward.received(Ward.file(450, n -> n % 100 == 0 ? Ward.row(n, "") : Ward.good(n)));

    ward.refiner(told::add).refine();

    everyRowOnce(submission, 450);
    assertThat(told)
        .extracting(filed -> ward.entry(filed.entry()).place().ordinal())
        .containsExactly(100, 200, 300, 400);
    assertThat(told).allMatch(filed -> filed.state() == EntryState.REJECTED);
    assertThat(ward.entry(told.get(0).entry()).code()).isEqualTo("unit-missing");
  }

  @Test
  void a_crash_between_batches_doubles_nothing_and_skips_nothing() {
    long submission =
        ward.received(Ward.file(1_000, n -> n == 350 ? Ward.row(n, "") : Ward.good(n)));

    assertThatThrownBy(
            () ->
                ward.refiner(
                        filed -> {
                          throw new Crash();
                        })
                    .refine())
        .isInstanceOf(Crash.class);
    assertThat(ward.entries(submission)).as("two batches are committed").hasSize(400);
    assertThat(ward.refined()).as("its lease has not run out").isZero();

    ward.clock.tick(LEASE);
    assertThat(ward.refined()).isEqualTo(600);
    everyRowOnce(submission, 1_000);
  }

  /** Every entry is committed, but not that they were all. */
  private long allButTheEnd(int rows) {
    long submission = ward.received(Ward.file(rows, Ward::good));
    Submission claimed = ward.ledger.inbox().claim(Ward.NODE, LEASE).orElseThrow();
    ward.ledger.write(
        Ward.NODE,
        tx -> {
          for (int ordinal = 1; ordinal <= rows; ordinal++) {
            ward.ledger
                .filing()
                .file(tx, claimed, List.of(refined(submission, ordinal)), EntryState.REJECTED);
          }
          return ward.ledger.inbox().progress(tx, claimed, rows, false, LEASE);
        });
    ward.clock.tick(LEASE);
    return submission;
  }

  @Test
  void a_crash_after_the_last_batch_leaves_only_the_end_to_be_written() {
    long submission = allButTheEnd(200);

    assertThat(ward.refined()).isZero();

    everyRowOnce(submission, 200);
  }

  @Test
  void where_nothing_is_left_to_be_read_on_the_entry_needs_a_person_again() {
    long submission = allButTheEnd(20);
    dies(6);
    ward.refined();
    Entry held = ward.entries(submission).get(20);
    assertThat(held.code()).isEqualTo("rest-unread");

    ward.replay().replay("user engineer", held, Map.of(), "program updated");
    assertThat(ward.refined()).isEqualTo(1);

    assertThat(ward.entry(held.id()).state()).isEqualTo(EntryState.REJECTED);
    ward.ledger.desk().discard("user engineer", held.id(), "nothing was behind it");
    assertThat(ward.ledger.records().openSubmissions()).isZero();
  }

  private dev.cistern.scan.Refined refined(long submission, int ordinal) {
    try (dev.cistern.mapping.EntryReader reader =
        ward.feeds
            .of(Ward.ELM)
            .open(ward.ledger.inbox().bytes(submission), dev.cistern.mapping.Limits.standard())) {
      dev.cistern.scan.RawEntry raw = java.util.Objects.requireNonNull(reader.next());
      for (int i = 1; i < ordinal; i++) {
        raw = java.util.Objects.requireNonNull(reader.next());
      }
      return ward.refinery.refine(
          ward.feeds.of(Ward.ELM),
          raw,
          Map.of(),
          SubmissionRefiner.arrival(
              ward.ledger.inbox().find(submission).orElseThrow(), raw.place()));
    } catch (java.io.IOException e) {
      throw new java.io.UncheckedIOException(e);
    }
  }

  @Test
  void who_lost_the_claim_half_way_writes_nothing_more() {
    long submission = ward.received(Ward.file(1_000, n -> n == 1 ? Ward.row(n, "") : Ward.good(n)));
    AtomicInteger other = new AtomicInteger();

    int given =
        ward.refiner(
                filed -> {
                  // It hung for longer than its lease; somebody else went on.
                  ward.clock.tick(LEASE);
                  other.set(ward.refined());
                })
            .refine();

    assertThat(given).isZero();
    assertThat(other).hasValue(800);
    everyRowOnce(submission, 1_000);
  }

  @Test
  void after_several_deaths_each_row_is_committed_by_itself() {
    long submission = ward.received(Ward.file(50, n -> n == 3 ? Ward.row(n, "") : Ward.good(n)));
    dies(3);

    assertThatThrownBy(
            () ->
                ward.refiner(
                        filed -> {
                          throw new Crash();
                        })
                    .refine())
        .isInstanceOf(Crash.class);

    assertThat(ward.entries(submission)).hasSize(3);
    ward.clock.tick(LEASE);
    ward.refined();
    everyRowOnce(submission, 50);
  }

  @Test
  void what_ends_the_process_each_time_is_held_and_replaying_it_reads_on() {
    long submission = ward.received(Ward.file(300, n -> n == 100 ? Ward.row(n, "") : Ward.good(n)));
    assertThatThrownBy(
            () ->
                ward.refiner(
                        filed -> {
                          throw new Crash();
                        })
                    .refine())
        .isInstanceOf(Crash.class);
    ward.clock.tick(LEASE);
    dies(6);

    assertThat(ward.refined()).isEqualTo(1);
    Entry held = ward.entries(submission).get(200);
    assertThat(held.state()).isEqualTo(EntryState.REJECTED);
    assertThat(held.code()).isEqualTo("rest-unread");
    assertThat(held.place().ordinal()).isEqualTo(201);
    assertThat(ward.proof().holds()).isTrue();
    assertThat(ward.refined()).as("the file is closed").isZero();

    Filing.Filed filed = ward.replay().replay("user engineer", held, Map.of(), "program updated");
    assertThat(filed.state()).isEqualTo(EntryState.WAITING);
    assertThat(ward.proof().holds()).isTrue();
    assertThat(ward.refined()).isEqualTo(100);
    everyRowOnce(submission, 300);
    assertThat(ward.entry(held.id()).state()).isEqualTo(EntryState.READY);
  }

  @Test
  void a_source_that_is_not_in_the_settings_waits_and_holds_up_nobody() {
    long orphan = ward.received(Ward.file(3, Ward::good));
    Feeds without = new Feeds(Map.of());
    for (int i = 0; i < 20; i++) {
      assertThat(ward.refiner(without, filed -> {}).refine()).isZero();
      ward.clock.tick(LEASE);
    }
    assertThat(ward.ledger.inbox().find(orphan).orElseThrow().tries()).isZero();

    assertThat(ward.refined()).isEqualTo(3);
    everyRowOnce(orphan, 3);
  }

  @Test
  void an_empty_file_is_one_rejected_entry() {
    long submission = ward.received("");
    assertThat(ward.refined()).isEqualTo(1);
    assertThat(ward.entries(submission))
        .singleElement()
        .satisfies(
            entry -> {
              assertThat(entry.state()).isEqualTo(EntryState.REJECTED);
              assertThat(entry.code()).isNotNull();
            });
  }

  @Test
  void the_same_file_again_gives_only_duplicates() {
    String file = Ward.file(20, n -> n == 7 ? Ward.row(n, "") : Ward.good(n));
    ward.received(file);
    ward.refined();
    long again = ward.received(file);
    ward.refined();
    assertThat(ward.entries(again)).hasSize(20).allMatch(e -> e.state() == EntryState.DUPLICATE);
  }

  @Test
  void a_store_that_fails_is_no_fault_of_the_submission() {
    AtomicBoolean full = new AtomicBoolean(true);
    SubmissionRefiner refiner =
        ward.refiner(
            filed -> {
              if (full.get()) {
                throw new LedgerUnavailable("the disk is full");
              }
            });
    long submission =
        ward.received(Ward.file(1_000, n -> n % 200 == 0 ? Ward.row(n, "") : Ward.good(n)));
    for (int i = 0; i < 4; i++) {
      assertThatThrownBy(refiner::refine).isInstanceOf(LedgerUnavailable.class);
    }

    full.set(false);
    assertThat(refiner.refine()).as("at once, in batches of the usual size").isEqualTo(200);
    everyRowOnce(submission, 1_000);
  }
}
