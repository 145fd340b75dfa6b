// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Refined;
import dev.cistern.scan.Scan;
import dev.cistern.scan.SequenceReason;
import dev.cistern.scan.Status;
import java.nio.file.Path;
import java.time.Duration;
import java.time.OffsetDateTime;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;

/** The first exam of these tests was measured on 2026-03-14 at 09:05 (+01:00). */
@EachEngine
class ExamNumbersTest {
  @TempDir Path folder;
  private Store store;

  @BeforeEach
  void open() {
    store = Store.in(folder);
  }

  @AfterEach
  void close() {
    store.close();
  }

  private static Refined at(String time, Status status) {
    return at(time, status, Store.ONE_EXAM);
  }

  private static Refined at(String time, Status status, Duration oneExam) {
    Refined refined = Store.version("0007", null, status, 241);
    Scan scan = refined.scan();
    Scan.Measurement m = scan.measurement();
    return new Refined(
        refined.place(),
        new Scan(
            scan.subject(),
            new Scan.Measurement(
                OffsetDateTime.parse(time),
                m.volume(),
                m.absent(),
                m.purpose(),
                m.status(),
                m.flags()),
            scan.voiding(),
            scan.exam(),
            scan.axes(),
            scan.device(),
            scan.handling(),
            scan.asSent()),
        refined.key(),
        refined.findings(),
        refined.mapping(),
        refined.policy(),
        oneExam);
  }

  @ParameterizedTest
  @CsvSource({
    "2026-03-14T09:07:00+01:00, same-key-other-content",
    "2026-03-14T21:05:00+01:00, same-key-other-content",
    "2026-03-14T09:05:00+02:00, same-key-other-content",
    "2026-03-14T21:05:01+01:00, exam-number-reused",
    "2026-03-13T21:04:59+01:00, exam-number-reused",
    "2027-01-02T08:00:00+01:00, exam-number-reused",
  })
  void a_number_given_to_a_scan_of_another_time_was_given_twice(String time, String code) {
    store.filed(Store.result("0007", 142));
    Filing.Filed other = store.filed(at(time, Status.FINAL));

    assertThat(other.state()).isEqualTo(EntryState.REJECTED);
    assertThat(store.entry(other.entry()).code()).isEqualTo(code);
  }

  @Test
  void how_far_apart_is_the_policys_to_say() {
    store.filed(Store.result("0007", 142));
    Filing.Filed other =
        store.filed(at("2026-03-14T10:05:01+01:00", Status.FINAL, Duration.ofHours(1)));

    assertThat(store.entry(other.entry()).code()).isEqualTo("exam-number-reused");
  }

  @Test
  void the_words_give_both_times() {
    long first = store.filed(Store.result("0007", 142)).entry();
    long other = store.filed(at("2026-05-02T08:00:00+02:00", Status.FINAL)).entry();

    assertThat(store.entry(other).findings())
        .singleElement()
        .satisfies(
            f -> {
              assertThat(f.code()).isEqualTo(SequenceReason.EXAM_NUMBER_REUSED.code());
              assertThat(f.message())
                  .contains("Entry " + first)
                  .contains("2026-03-14T09:05:00+01:00")
                  .contains("2026-05-02T08:00:00+02:00");
            });
    assertThat(store.entry(other).otherEntry()).isEqualTo(first);
  }

  @Test
  void a_correction_may_correct_the_time() {
    store.filed(Store.result("0007", 142));

    assertThat(store.filed(at("2026-05-02T08:00:00+02:00", Status.CORRECTED)).state())
        .isEqualTo(EntryState.READY);
  }

  @Test
  void a_reused_number_that_comes_again_is_in_the_queue_once() {
    store.filed(Store.result("0007", 142));
    long held = store.filed(at("2026-05-02T08:00:00+02:00", Status.FINAL)).entry();
    Filing.Filed again = store.filed(at("2026-05-02T08:00:00+02:00", Status.FINAL));

    assertThat(again.state()).isEqualTo(EntryState.DUPLICATE);
    assertThat(again.other()).isEqualTo(held);
  }
}
