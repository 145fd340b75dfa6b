// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.refine;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Queue;
import dev.cistern.ledger.Trail;
import dev.cistern.refine.FormDesk.Answer;
import java.nio.charset.StandardCharsets;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.List;
import java.util.concurrent.ExecutorService;
import java.util.concurrent.Executors;
import java.util.concurrent.Future;
import org.jspecify.annotations.Nullable;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

class FormDeskTest {
  private static final String TYPE = "application/x-www-form-urlencoded";
  private static final String GOOD =
      "patient=9990000077&measured=2026-03-14T12%3A05&volume=156&purpose=pre-void&scanner=WL-009&exam=0044&operator=N3301";
  private static final String NO_PATIENT = GOOD.replace("9990000077", "");

  @TempDir Path folder;
  private Ward ward;
  private FormDesk desk;

  @BeforeEach
  void open() {
    ward = new Ward(folder);
    desk = new FormDesk(ward.ledger, ward.feeds, ward.refinery, ward.clock, Ward.NODE);
  }

  @AfterEach
  void close() {
    assertThat(ward.proof().holds()).isTrue();
    ward.close();
  }

  private Answer post(@Nullable String key, String body) throws Exception {
    return desk.post(Ward.FORM, TYPE, key, body.getBytes(StandardCharsets.UTF_8));
  }

  private static long entry(Answer answer) {
    return answer instanceof Answer.Kept kept
        ? kept.entry()
        : answer instanceof Answer.Again again
            ? again.entry()
            : answer instanceof Answer.Returned returned
                ? returned.entry()
                : ((Answer.KeyTaken) answer).entry();
  }

  @Test
  void a_good_post_is_kept_and_ready_with_its_bytes() throws Exception {
    Answer answer = post("key-1", GOOD);

    assertThat(answer).isInstanceOf(Answer.Kept.class);
    Entry entry = ward.entry(entry(answer));
    assertThat(entry.state()).isEqualTo(EntryState.READY);
    assertThat(ward.ledger.inbox().bytes(entry.submission()).readAllBytes())
        .isEqualTo(GOOD.getBytes(StandardCharsets.UTF_8));
    assertThat(ward.ledger.records().openSubmissions()).isZero();
  }

  @Test
  void the_same_key_and_bytes_get_the_same_answer_and_make_nothing_new() throws Exception {
    long first = entry(post("key-1", GOOD));
    long events = ward.ledger.verifyTrail().events();

    Answer again = post("key-1", GOOD);

    assertThat(again)
        .isEqualTo(new Answer.Again(first, EntryState.READY, ward.entry(first).findings()));
    assertThat(ward.ledger.verifyTrail().events()).isEqualTo(events);
  }

  @Test
  void the_same_answer_again_tells_the_state_of_today() throws Exception {
    long first = entry(post("key-1", GOOD));
    Entry claimed =
        ward.ledger.outbox().claim(Ward.NODE, 1, java.time.Duration.ofMinutes(1)).get(0);
    ward.ledger
        .outbox()
        .settle(
            Ward.NODE,
            List.of(
                new dev.cistern.ledger.Outbox.Settled(
                    claimed,
                    new dev.cistern.ledger.Outbox.Outcome.Delivered(
                        new dev.cistern.ledger.Outbox.Landed("Observation/1", "1")),
                    ward.clock.instant(),
                    "created",
                    201,
                    null)));
    assertThat(post("key-1", GOOD))
        .isInstanceOfSatisfying(
            Answer.Again.class,
            again -> {
              assertThat(again.entry()).isEqualTo(first);
              assertThat(again.state()).isEqualTo(EntryState.DELIVERED);
            });
  }

  @Test
  void the_same_key_with_other_bytes_is_refused_and_nothing_is_kept() throws Exception {
    long first = entry(post("key-1", GOOD));
    assertThat(post("key-1", GOOD.replace("156", "165"))).isEqualTo(new Answer.KeyTaken(first));
    assertThat(ward.proof().sums())
        .singleElement()
        .satisfies(s -> assertThat(s.total()).isEqualTo(1));
  }

  @Test
  void without_a_key_the_bytes_are_the_key() throws Exception {
    long first = entry(post(null, GOOD));
    assertThat(post(null, GOOD)).isInstanceOf(Answer.Again.class);
    assertThat(entry(post(null, GOOD))).isEqualTo(first);
    assertThat(entry(post(null, GOOD.replace("exam=0044", "exam=0045")))).isNotEqualTo(first);
  }

  @Test
  void the_same_exam_under_another_key_is_a_duplicate() throws Exception {
    post("key-1", GOOD);
    assertThat(post("key-2", GOOD))
        .isInstanceOfSatisfying(
            Answer.Kept.class, kept -> assertThat(kept.state()).isEqualTo(EntryState.DUPLICATE));
  }

  @Test
  void a_refused_post_is_returned_with_its_findings_and_is_not_in_the_queue() throws Exception {
    Answer answer = post("key-1", NO_PATIENT);

    assertThat(answer)
        .isInstanceOfSatisfying(
            Answer.Returned.class,
            returned ->
                assertThat(returned.findings()).anyMatch(dev.cistern.scan.Finding::rejects));
    assertThat(ward.entry(entry(answer)).state()).isEqualTo(EntryState.RETURNED);
    assertThat(ward.ledger.queue().page(Queue.Filter.ALL, Queue.Place.START, 10)).isEmpty();
    List<Trail.Event> events = new ArrayList<>();
    ward.ledger.trail(entry(answer), null, events::add);
    assertThat(events).singleElement().satisfies(e -> assertThat(e.to()).isEqualTo("returned"));
    assertThat(post("key-1", NO_PATIENT)).isEqualTo(answer);
  }

  @Test
  void a_post_that_was_put_right_under_a_new_key_is_kept() throws Exception {
    post("key-1", NO_PATIENT);
    assertThat(post("key-2", GOOD)).isInstanceOf(Answer.Kept.class);
  }

  @Test
  void a_conflict_is_returned_to_the_one_who_typed_it() throws Exception {
    post("key-1", GOOD);
    assertThat(post("key-2", GOOD.replace("156", "165"))).isInstanceOf(Answer.Returned.class);
    assertThat(ward.ledger.queue().page(Queue.Filter.ALL, Queue.Place.START, 10)).isEmpty();
  }

  @Test
  void a_hundred_taps_at_once_make_one_entry() throws Exception {
    ExecutorService taps = Executors.newFixedThreadPool(20);
    List<Answer> answers = new ArrayList<>();
    try {
      List<Future<Answer>> futures = new ArrayList<>();
      for (int i = 0; i < 100; i++) {
        futures.add(taps.submit(() -> post("key-1", GOOD)));
      }
      for (Future<Answer> future : futures) {
        answers.add(future.get());
      }
    } finally {
      taps.shutdownNow();
    }
    assertThat(answers).extracting(FormDeskTest::entry).containsOnly(1L);
    assertThat(answers).filteredOn(Answer.Kept.class::isInstance).hasSize(1);
    assertThat(answers).filteredOn(Answer.Again.class::isInstance).hasSize(99);
    assertThat(ward.proof().sums())
        .singleElement()
        .satisfies(s -> assertThat(s.total()).isEqualTo(1));
  }

  @Test
  void an_empty_post_is_returned() throws Exception {
    assertThat(post("key-1", "")).isInstanceOf(Answer.Returned.class);
  }
}
