// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Field;
import java.io.IOException;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Instant;
import java.util.List;
import java.util.Map;
import java.util.stream.Stream;
import org.junit.jupiter.api.Test;

/** What a purge leaves in the files of the embedded store: nothing. */
class PurgedFilesTest extends Purging {
  private static final String PATIENT = "9990000018";

  /** How often a text stands in the store's files, whatever they are. */
  private int found(String text) throws IOException {
    int count = 0;
    try (Stream<Path> files = Files.list(folder)) {
      for (Path file : files.toList()) {
        String bytes = Files.readString(file, StandardCharsets.ISO_8859_1);
        for (int at = bytes.indexOf(text); at >= 0; at = bytes.indexOf(text, at + 1)) {
          count++;
        }
      }
    }
    return count;
  }

  @Test
  void nothing_of_what_was_purged_stays_in_the_files() throws IOException {
    submission("MARKED-name.csv", "MARKED-key", "MARKED-bytes".repeat(60_000).getBytes(US));
    for (int i = 0; i < 300; i++) {
      String exam = "%05d".formatted(i);
      if (i % 3 == 0) {
        long id = store.filed(Store.refused(exam, 300)).entry();
        store
            .ledger
            .desk()
            .replay(
                "user nurse",
                store.entry(id),
                Map.of(Field.NOTE, "MARKED-note-" + exam),
                Store.result(exam, 300),
                "MARKED-why-" + exam);
      } else {
        store.filed(Store.result(exam, 142));
      }
      if (i % 2 == 0) {
        store.delivered(store.claimed());
      }
    }
    List<Entry> ready;
    while (!(ready = store.ledger.outbox().claim(Store.NODE, 10, Store.LEASE)).isEmpty()) {
      ready.forEach(store::delivered);
    }
    assertThat(found("MARKED")).isGreaterThan(60_000);
    assertThat(found(PATIENT)).isGreaterThan(300);

    Purge.Count count = all(later(1));
    assertThat(count.entries()).isEqualTo(300);
    assertThat(count.submissions()).isEqualTo(301);
    assertThat(found("MARKED")).isZero();
    assertThat(found(PATIENT)).isZero();
    assertThat(found("submission 17")).as("raw bytes").isZero();
    assertThat(store.proof().holds()).isTrue();
    assertThat(store.proof().trail().events()).isGreaterThan(1_500);
  }

  @Test
  void a_purge_that_was_cut_off_is_finished_the_next_time() throws IOException {
    long id = submission("x", null, bytes(40));
    store.tampered("UPDATE submission SET purged_at = 1, name = NULL WHERE id = " + id);
    assertThat(found("MARKED")).isPositive();
    store.filed(Store.result("0001", 142));
    store.delivered(store.claimed());
    all(later(1));
    assertThat(found("MARKED")).isZero();
  }

  @Test
  void a_reader_in_the_way_is_said_and_the_log_is_emptied_the_next_time() throws IOException {
    store.filed(Store.result("0001", 142));
    store.delivered(store.claimed());
    Instant then = later(1);
    Purge.Count count = store.ledger.snapshot(handle -> reading(handle, () -> all(then)));
    assertThat(count.logHolds()).isTrue();
    assertThat(found(PATIENT)).isPositive();
    assertThat(all(then).logHolds()).isFalse();
    assertThat(found(PATIENT)).isZero();
  }

  private static <T> T reading(
      org.jdbi.v3.core.Handle handle, java.util.function.Supplier<T> work) {
    assertThat(handle.createQuery("SELECT count(*) FROM entry").mapTo(Long.class).one()).isOne();
    return work.get();
  }
}
