// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.json.ScanJson;
import dev.cistern.scan.Place;
import dev.cistern.scan.Refined;
import dev.cistern.scan.SequenceReason;
import dev.cistern.scan.Status;
import java.nio.file.Path;
import java.time.Duration;
import java.util.List;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

@EachEngine
class FilingTest {
  @TempDir Path folder;
  private Store store;

  @BeforeEach
  void open() {
    store = Store.in(folder);
  }

  @AfterEach
  void close() {
    assertThat(store.proof().holds()).isTrue();
    store.close();
  }

  private static Refined version(Status status, int millilitres) {
    return Store.version("0007", null, status, millilitres);
  }

  private static Refined revision(int number, int millilitres) {
    return Store.version("0007", number, Status.FINAL, millilitres);
  }

  private void sent(long entry) {
    Entry claimed = store.claimed();
    assertThat(claimed.id()).isEqualTo(entry);
    assertThat(store.delivered(claimed)).isEmpty();
  }

  @Test
  void what_could_not_be_read_stands_in_the_queue_by_the_number_that_was_sent() {
    assertThat(urgency("{\"volumeMl\":142.5}")).isEqualTo(142);
    assertThat(urgency("{\"asSent\":{\"volume\":\"900\"}}")).as("no unit").isEqualTo(900);
    assertThat(urgency("{\"asSent\":{\"volume\":\">999 ML\"}}")).isEqualTo(999);
    assertThat(urgency("{\"asSent\":{\"volume\":\"142,5 mL\"}}")).isEqualTo(142);
    assertThat(urgency("{\"asSent\":{\"volume\":\"---\"}}")).isZero();
    assertThat(urgency("{}")).isZero();
  }

  private static int urgency(String scan) {
    return Filing.urgency(ScanJson.read(scan));
  }

  @Test
  void an_accepted_entry_is_ready_and_the_trail_says_under_which_mapping_and_policy() {
    long entry = store.filed(Store.result("0007", 142)).entry();

    assertThat(store.state(entry)).isEqualTo(EntryState.READY);
    assertThat(store.trail(entry))
        .singleElement()
        .satisfies(
            event -> {
              assertThat(event.event()).isEqualTo("refined");
              assertThat(event.from()).isNull();
              assertThat(event.to()).isEqualTo("ready");
              assertThat(event.detail())
                  .isEqualTo("{\"mapping\":\"elm-ward-export@1\",\"policy\":\"1\"}");
            });
  }

  @Test
  void a_refused_entry_is_rejected_with_its_code_and_its_volume_as_urgency() {
    Filing.Filed filed = store.filed(Store.refused("0007", 650));

    Entry entry = store.entry(filed.entry());
    assertThat(entry.state()).isEqualTo(EntryState.REJECTED);
    assertThat(entry.code()).isEqualTo("unit-missing");
    assertThat(entry.urgency()).isEqualTo(650);
    assertThat(entry.acceptedAt()).isNull();
    assertThat(store.trail(entry.id()).get(0).detail()).contains("\"code\":\"unit-missing\"");
  }

  @Test
  void the_queue_shows_the_highest_volumes_first() {
    store.filed(Store.refused("0001", 80));
    store.filed(Store.refused("0002", 900));
    store.filed(Store.refused("0003", 300));

    assertThat(store.ledger.queue().page(Queue.Filter.ALL, Queue.Place.START, 10))
        .extracting(Entry::urgency)
        .containsExactly(900, 300, 80);
  }

  @Test
  void the_same_result_again_is_a_duplicate_of_the_first() {
    long first = store.filed(Store.result("0007", 142)).entry();
    Filing.Filed again = store.filed(Store.result("0007", 142));

    assertThat(again.state()).isEqualTo(EntryState.DUPLICATE);
    assertThat(again.other()).isEqualTo(first);
    assertThat(store.entry(again.entry()).otherEntry()).isEqualTo(first);
    sent(first);
    assertThat(store.filed(Store.result("0007", 142)).state()).isEqualTo(EntryState.DUPLICATE);
  }

  @Test
  void the_same_result_twice_in_one_submission_is_filed_once() {
    assertThat(store.filed(List.of(Store.result("0007", 142), Store.result("0007", 142))))
        .extracting(Filing.Filed::state)
        .containsExactly(EntryState.READY, EntryState.DUPLICATE);
  }

  @Test
  void a_refused_entry_that_comes_again_is_a_duplicate_of_the_one_in_the_queue() {
    long first = store.filed(Store.refused("0007", 142)).entry();
    Filing.Filed again = store.filed(Store.refused("0007", 142));

    assertThat(again.state()).isEqualTo(EntryState.DUPLICATE);
    assertThat(again.other()).isEqualTo(first);
  }

  @Test
  void another_content_under_the_same_key_needs_a_person() {
    long first = store.filed(version(Status.FINAL, 142)).entry();
    Filing.Filed other = store.filed(version(Status.FINAL, 241));

    assertThat(other.state()).isEqualTo(EntryState.REJECTED);
    assertThat(store.entry(other.entry()).code())
        .isEqualTo(SequenceReason.SAME_KEY_OTHER_CONTENT.code());
    assertThat(store.entry(other.entry()).otherEntry()).isEqualTo(first);
    assertThat(store.state(first)).isEqualTo(EntryState.READY);
  }

  @Test
  void a_conflict_that_comes_again_is_in_the_queue_once() {
    store.filed(version(Status.FINAL, 142));
    long held = store.filed(version(Status.FINAL, 241)).entry();
    Filing.Filed again = store.filed(version(Status.FINAL, 241));

    assertThat(again.state()).isEqualTo(EntryState.DUPLICATE);
    assertThat(again.other()).isEqualTo(held);
  }

  @Test
  void two_corrections_without_a_revision_need_a_person() {
    store.filed(version(Status.FINAL, 142));
    store.filed(version(Status.CORRECTED, 150));
    Filing.Filed second = store.filed(version(Status.CORRECTED, 160));

    assertThat(second.state()).isEqualTo(EntryState.REJECTED);
    assertThat(store.entry(second.entry()).code())
        .isEqualTo(SequenceReason.REVISION_UNCLEAR.code());
  }

  @Test
  void a_newer_version_takes_the_place_of_one_that_has_not_left() {
    long older = store.filed(revision(1, 142)).entry();
    long newer = store.filed(revision(2, 150)).entry();

    assertThat(store.state(older)).isEqualTo(EntryState.SUPERSEDED);
    assertThat(store.entry(older).otherEntry()).isEqualTo(newer);
    assertThat(store.trail(older))
        .extracting(Trail.Event::event)
        .containsExactly("refined", "superseded");
    sent(newer);
    assertThat(store.ledger.outbox().claim(Store.NODE, 10, Store.LEASE)).isEmpty();
  }

  @Test
  void a_newer_version_waits_for_one_that_is_just_being_sent() {
    long older = store.filed(revision(1, 142)).entry();
    Entry underWay = store.claimed();
    long newer = store.filed(revision(2, 150)).entry();

    assertThat(store.state(older)).isEqualTo(EntryState.READY);
    assertThat(store.ledger.outbox().claim(Store.NODE, 10, Store.LEASE)).isEmpty();
    store.delivered(underWay);
    sent(newer);
    assertThat(store.state(older)).isEqualTo(EntryState.SUPERSEDED);
    assertThat(store.state(newer)).isEqualTo(EntryState.DELIVERED);
  }

  @Test
  void an_older_version_that_comes_late_is_kept_and_not_sent() {
    long newer = store.filed(revision(2, 150)).entry();
    Filing.Filed older = store.filed(revision(1, 142));

    assertThat(older.state()).isEqualTo(EntryState.SUPERSEDED);
    assertThat(older.other()).isEqualTo(newer);
    sent(newer);
    assertThat(store.filed(revision(0, 100)).state()).isEqualTo(EntryState.SUPERSEDED);
  }

  @Test
  void the_revision_goes_before_the_status() {
    store.filed(Store.version("0007", 2, Status.PRELIMINARY, 142));
    assertThat(store.filed(Store.version("0007", 1, Status.CORRECTED, 150)).state())
        .isEqualTo(EntryState.SUPERSEDED);
    assertThat(store.filed(Store.version("0007", 3, Status.PRELIMINARY, 160)).state())
        .isEqualTo(EntryState.READY);
  }

  @Test
  void a_final_result_follows_a_preliminary_one_and_a_withdrawal_follows_both() {
    assertThat(store.filed(version(Status.PRELIMINARY, 140)).state()).isEqualTo(EntryState.READY);
    assertThat(store.filed(version(Status.FINAL, 142)).state()).isEqualTo(EntryState.READY);
    assertThat(store.filed(version(Status.ENTERED_IN_ERROR, 142)).state())
        .isEqualTo(EntryState.READY);
    assertThat(store.filed(version(Status.CORRECTED, 150)).state())
        .isEqualTo(EntryState.SUPERSEDED);
  }

  @Test
  void a_correction_without_an_original_is_sent_with_a_warning() {
    Filing.Filed filed = store.filed(version(Status.CORRECTED, 150));

    assertThat(filed.state()).isEqualTo(EntryState.READY);
    assertThat(store.entry(filed.entry()).findings())
        .singleElement()
        .satisfies(
            f -> assertThat(f.code()).isEqualTo(SequenceReason.CORRECTION_WITHOUT_ORIGINAL.code()));
  }

  @Test
  void what_was_superseded_unsent_still_counts_after_its_successor_was_refused() {
    store.filed(revision(2, 150));
    long newest = store.filed(revision(3, 160)).entry();
    store.settled(store.claimed(), Store.refusedByServer());
    assertThat(store.state(newest)).isEqualTo(EntryState.REJECTED);

    assertThat(store.filed(revision(1, 142)).state()).isEqualTo(EntryState.SUPERSEDED);
  }

  @Test
  void an_older_version_with_a_higher_number_is_over_when_the_newer_one_has_arrived() {
    long newer = store.filed(revision(2, 150).with(Store.rejecting("unit-missing"))).entry();
    long older = store.filed(revision(1, 142)).entry();
    Entry hanging = store.claimed();
    store
        .ledger
        .desk()
        .replay(
            "user nurse", store.entry(newer), java.util.Map.of(), revision(2, 150), "unit added");
    store.clock.tick(Store.LEASE.plusMillis(1));

    sent(newer);

    assertThat(store.state(older)).isEqualTo(EntryState.SUPERSEDED);
    assertThat(store.delivered(hanging)).as("its claim is lost").containsExactly(hanging);
    assertThat(store.state(newer)).isEqualTo(EntryState.DELIVERED);
  }

  @Test
  void a_clock_that_was_set_back_leaves_one_delivered_entry_of_a_result() {
    long one = store.filed(revision(1, 142)).entry();
    sent(one);
    store.clock.tick(Duration.ofHours(-1));
    long two = store.filed(revision(2, 150)).entry();
    sent(two);
    long three = store.filed(revision(3, 160)).entry();
    assertThat(store.ledger.outbox().lastWritten(Store.exam("0007").hash()).orElseThrow().id())
        .isEqualTo(two);
    sent(three);

    assertThat(List.of(store.state(one), store.state(two), store.state(three)))
        .containsExactly(EntryState.SUPERSEDED, EntryState.SUPERSEDED, EntryState.DELIVERED);
  }

  @Test
  void an_entry_that_is_past_waiting_is_not_filed_again() {
    long entry = store.filed(Store.result("0007", 142)).entry();
    sent(entry);
    Submission submission =
        store.ledger.inbox().find(store.entry(entry).submission()).orElseThrow();

    Filing.Filed again =
        store.ledger.write(
            Store.NODE,
            tx ->
                store
                    .ledger
                    .filing()
                    .file(tx, submission, List.of(Store.refused("0007", 142)), EntryState.REJECTED)
                    .get(0));

    assertThat(again.state()).isEqualTo(EntryState.DELIVERED);
    assertThat(store.state(entry)).isEqualTo(EntryState.DELIVERED);
    assertThat(store.trail(entry)).hasSize(2);
  }

  @Test
  void an_entry_without_a_key_is_a_duplicate_only_of_the_same_place_of_the_same_bytes() {
    Refined nameless =
        new Refined(
            Place.ordinal(1),
            Store.result("0007", 142).scan(),
            null,
            List.of(Store.rejecting("device-missing")),
            "elm-ward-export@1",
            "1",
            Store.ONE_EXAM);
    assertThat(store.filed(List.of(nameless, nameless)))
        .extracting(Filing.Filed::state)
        .containsExactly(EntryState.REJECTED, EntryState.REJECTED);
    assertThat(store.filed(nameless).state()).as("other bytes").isEqualTo(EntryState.REJECTED);
  }
}
