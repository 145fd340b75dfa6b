// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.ClockEvidence;
import dev.cistern.scan.Refined;
import dev.cistern.scan.Status;
import java.nio.file.Path;
import java.time.Duration;
import java.time.Instant;
import java.util.List;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

@EachEngine
class ClocksTest {
  private static final String DEVICE = "AV-0012";

  /** When the scans of {@link Store} were measured. */
  private static final Instant MEASURED = Instant.parse("2026-03-14T08:05:00Z");

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

  private void arrives(Duration afterScan, Refined... entries) {
    store.clock.set(MEASURED.plus(afterScan));
    store.filed(List.of(entries));
  }

  private List<ClockEvidence.Hour> known(Duration afterScan) {
    return store.ledger.clocks().before(DEVICE, MEASURED.plus(afterScan)).hours();
  }

  private static ClockEvidence.Hour hour(String from, int results, Duration least) {
    return new ClockEvidence.Hour(Instant.parse(from), results, least);
  }

  @Test
  void the_least_time_from_scan_to_arrival_is_kept_for_each_hour() {
    arrives(Duration.ofMinutes(9), Store.result("0001", 100), Store.result("0002", 100));
    arrives(Duration.ofMinutes(4), Store.result("0003", 100));
    arrives(Duration.ofMinutes(20), Store.result("0004", 100));
    arrives(Duration.ofMinutes(-17), Store.result("0005", 100));

    assertThat(known(Duration.ofHours(1)))
        .containsExactly(
            hour("2026-03-14T08:00:00Z", 4, Duration.ofMinutes(4)),
            hour("2026-03-14T07:00:00Z", 1, Duration.ofMinutes(-17)));
  }

  @Test
  void an_arrival_is_judged_by_hours_that_were_over_before_it() {
    arrives(Duration.ofMinutes(-17), Store.result("0001", 100));
    assertThat(known(Duration.ofMinutes(-6))).as("07:59").isEmpty();
    assertThat(known(Duration.ofMinutes(-5))).as("08:00").hasSize(1);

    arrives(Duration.ofMinutes(9), Store.result("0002", 100));
    assertThat(known(Duration.ofMinutes(9))).as("its own hour").hasSize(1);
  }

  @Test
  void what_is_filed_in_another_order_teaches_the_same() {
    arrives(Duration.ofMinutes(30), Store.result("0001", 100));
    arrives(Duration.ofMinutes(70), Store.result("0002", 100));
    List<ClockEvidence.Hour> forwards = known(Duration.ofHours(9));

    try (Store other = Store.in(folder.resolve("other"))) {
      other.clock.set(MEASURED.plus(Duration.ofMinutes(70)));
      other.filed(Store.result("0002", 100));
      other.clock.set(MEASURED.plus(Duration.ofMinutes(30)));
      other.filed(Store.result("0001", 100));
      assertThat(other.ledger.clocks().before(DEVICE, MEASURED.plus(Duration.ofHours(9))).hours())
          .hasSize(2)
          .isEqualTo(forwards);
    }
  }

  @Test
  void an_entry_teaches_once() {
    arrives(Duration.ofMinutes(9), Store.result("0001", 100));
    arrives(Duration.ofMinutes(10), Store.result("0001", 100));
    assertThat(known(Duration.ofHours(1)))
        .as("a file that came twice")
        .containsExactly(hour("2026-03-14T08:00:00Z", 1, Duration.ofMinutes(9)));

    arrives(Duration.ofMinutes(11), Store.refused("0002", 142));
    Entry held = store.entry(2 + 1);
    assertThat(held.state()).isEqualTo(EntryState.REJECTED);
    store.clock.set(MEASURED.plus(Duration.ofMinutes(12)));
    store.ledger.desk().replay("ada", held, java.util.Map.of(), Store.result("0002", 142), "why");
    assertThat(store.state(held.id())).isEqualTo(EntryState.READY);
    assertThat(known(Duration.ofHours(1)))
        .as("a replay")
        .containsExactly(hour("2026-03-14T08:00:00Z", 2, Duration.ofMinutes(9)));
  }

  @Test
  void a_correction_teaches_nothing() {
    arrives(Duration.ofMinutes(9), Store.version("0001", null, Status.FINAL, 100));
    arrives(Duration.ofMinutes(8), Store.version("0001", 2, Status.CORRECTED, 110));
    assertThat(known(Duration.ofHours(1)))
        .containsExactly(hour("2026-03-14T08:00:00Z", 1, Duration.ofMinutes(9)));
  }

  @Test
  void what_was_taught_outlives_a_restart() {
    arrives(Duration.ofMinutes(9), Store.result("0001", 100));
    store.close();
    store = Store.in(folder);
    assertThat(known(Duration.ofHours(1))).hasSize(1);
  }

  @Test
  void a_piece_that_fails_teaches_nothing() {
    store.clock.set(MEASURED);
    long id = store.received(Store.SOURCE);
    org.assertj.core.api.Assertions.assertThatThrownBy(
            () ->
                store.ledger.write(
                    Store.NODE,
                    tx -> {
                      Submission submission = store.ledger.inbox().find(tx, id);
                      store
                          .ledger
                          .filing()
                          .file(
                              tx,
                              submission,
                              List.of(Store.result("0001", 100)),
                              EntryState.REJECTED);
                      throw new IllegalStateException("broken");
                    }))
        .hasMessage("broken");
    assertThat(known(Duration.ofHours(1))).isEmpty();
  }
}
