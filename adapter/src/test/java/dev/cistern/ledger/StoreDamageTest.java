// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import dev.cistern.scan.Field;
import dev.cistern.scan.Status;
import dev.cistern.testing.TestClock;
import java.io.IOException;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.Arrays;
import java.util.Map;
import java.util.Random;
import java.util.stream.Stream;
import org.junit.jupiter.api.AfterAll;
import org.junit.jupiter.api.BeforeAll;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.TestInstance;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.ValueSource;

/**
 * Damages the files of a store of which everything is known. Whatever is read from it afterwards is
 * as it was, or there is an error that names the damage.
 */
@TestInstance(TestInstance.Lifecycle.PER_CLASS)
class StoreDamageTest {
  private static final int FLIPS = Integer.getInteger("cistern.flips", 16);
  private static final String WAL = Ledger.FILE + "-wal";

  /** Touches a row, so that the ledger seals it as it is. */
  private static final String RESEAL = "UPDATE submission SET name = name WHERE id = 2";

  @TempDir static Path folder;
  private Path closed;
  private Path crashed;
  private String content;
  private int copies;

  @BeforeAll
  void a_store_of_which_everything_is_known() throws IOException {
    closed = Files.createDirectories(folder.resolve("closed"));
    crashed = folder.resolve("crashed");
    try (Store store = Store.in(closed)) {
      fill(store);
      content = content(store.ledger);
      copy(closed, crashed); // While it is open: as a kill leaves it.
    }
    assertThat(closed.resolve(WAL)).doesNotExist();
    assertThat(crashed.resolve(WAL)).isNotEmptyFile();
    assertThat(opened(copyOf(closed))).isEqualTo(content);
    assertThat(opened(copyOf(crashed))).isEqualTo(content);
  }

  private static void fill(Store store) {
    for (int i = 0; i < 12; i++) {
      store.filed(Store.result("%04d".formatted(i), 100 + i));
      if (i % 2 == 0) {
        store.delivered(store.claimed());
      }
    }
    long rejected = store.filed(Store.refused("0100", 300)).entry();
    store.filed(Store.refused("0101", 400));
    store
        .ledger
        .desk()
        .replay(
            "user nurse",
            store.entry(rejected),
            Map.of(Field.NOTE, "read off"),
            Store.result("0100", 301),
            "typed wrongly");
    store.filed(Store.version("0000", 2, Status.CORRECTED, 222));
    store.delivered(store.claimed());
    store.settled(store.claimed(), Store.refusedByServer());
    store
        .ledger
        .records()
        .keep(
            Store.NODE,
            new Records.Destination(
                "fhir", false, store.clock.instant(), store.clock.instant(), "an outage", "put"),
            true);
  }

  /** Everything that people and the server would get to see of it. */
  private static String content(Ledger ledger) {
    StringBuilder all = new StringBuilder();
    Records records = ledger.records();
    for (long id = 1; id <= 15; id++) {
      Entry entry = records.entry(id).orElseThrow();
      all.append(entry).append(entry.place()).append(entry.source()).append(entry.receivedAt());
      all.append(entry.changedAt()).append(entry.acceptedAt()).append(entry.keyHash());
      all.append(entry.contentHash()).append(entry.revision()).append(entry.status());
      all.append(entry.scanJson()).append(entry.findingsJson()).append(entry.code());
      all.append(entry.urgency()).append(entry.mapping()).append(entry.policy());
      all.append(entry.overlay()).append(entry.otherEntry()).append(entry.location());
      all.append(entry.version()).append(entry.deliveredAt()).append(entry.moves());
      all.append(records.attempts(id)).append('\n');
      Submission submission = ledger.inbox().find(id).orElseThrow();
      all.append(submission.id()).append(submission.name()).append(submission.sha256());
      all.append(submission.source()).append(submission.receivedAt()).append(submission.state());
      all.append(submission.entries()).append(raw(ledger, id)).append('\n');
    }
    ledger.queue().each(Queue.Filter.ALL, entry -> all.append(entry.id()).append(' '));
    records.latestDelivered(50).forEach(entry -> all.append(entry.id()).append(' '));
    all.append(records.destination("fhir")).append(records.openSubmissions());
    ledger.trail(
        null,
        null,
        event ->
            all.append(event.hashText())
                .append(event)
                .append(ledger.trailPayload(event.seq()))
                .append('\n'));
    return all.toString().replaceAll("\\[B@[0-9a-f]+", "");
  }

  private static String raw(Ledger ledger, long submission) {
    try {
      byte[] whole = ledger.inbox().bytes(submission).readAllBytes();
      assertThat(ledger.inbox().bytes(submission, 3, 4)).isEqualTo(Arrays.copyOfRange(whole, 3, 7));
      return new String(whole, StandardCharsets.UTF_8);
    } catch (IOException e) {
      throw new java.io.UncheckedIOException(e);
    }
  }

  private static void copy(Path from, Path to) throws IOException {
    Files.createDirectories(to);
    try (Stream<Path> files = Files.list(from)) {
      for (Path file : files.filter(f -> !f.toString().endsWith("-shm")).toList()) {
        Files.copy(file, to.resolve(file.getFileName()));
      }
    }
  }

  private Path copyOf(Path store) throws IOException {
    Path copy = folder.resolve("copy-" + ++copies);
    copy(store, copy);
    return copy;
  }

  /** What a run would see, and everything after it. */
  private static String opened(Path store) {
    try (Ledger ledger = Ledger.open(store, TestClock.at("2026-03-15T09:00:00Z"))) {
      ledger.requireWhole();
      return content(ledger);
    }
  }

  /** Whether the damage was named; fails where something wrong was served. */
  private boolean named(Path store, String damage) {
    try {
      String read = opened(store);
      assertThat(read.equals(content)).as(() -> damage + "\n" + difference(read)).isTrue();
      return false;
    } catch (LedgerUnavailable e) {
      assertThat(e.getMessage()).as(damage).containsAnyOf("damaged", "restore", "cannot be");
      return true;
    }
  }

  private String difference(String read) {
    int at = Arrays.mismatch(read.toCharArray(), content.toCharArray());
    int from = Math.max(0, at - 60);
    return read.substring(from, Math.min(read.length(), at + 60))
        + "\ninstead of\n"
        + content.substring(from, Math.min(content.length(), at + 60));
  }

  private boolean flipped(Path store, String file, int offset, int with) throws IOException {
    Path copy = copyOf(store);
    byte[] bytes = Files.readAllBytes(copy.resolve(file));
    bytes[offset] ^= (byte) with;
    Files.write(copy.resolve(file), bytes);
    return named(copy, file + " at " + offset + " xor " + with);
  }

  @ParameterizedTest
  @ValueSource(longs = {1, 2, 3})
  void a_flipped_byte_of_the_store_is_named_or_harmless(long seed) throws IOException {
    Random random = new Random(seed);
    int size = Math.toIntExact(Files.size(closed.resolve(Ledger.FILE)));
    int named = 0;
    for (int i = 0; i < FLIPS; i++) {
      int with = random.nextBoolean() ? 1 << random.nextInt(8) : 1 + random.nextInt(255);
      named += flipped(closed, Ledger.FILE, random.nextInt(size), with) ? 1 : 0;
    }
    assertThat(named).as("most pages are full of content").isPositive();
  }

  /** Offsets at which something is written: where random ones often hit empty space. */
  @Test
  void a_flipped_byte_of_what_was_written_is_named_or_harmless() throws IOException {
    Random random = new Random(4);
    byte[] bytes = Files.readAllBytes(closed.resolve(Ledger.FILE));
    int named = 0;
    for (int i = 0; i < FLIPS; ) {
      int offset = random.nextInt(bytes.length);
      if (bytes[offset] != 0) {
        named += flipped(closed, Ledger.FILE, offset, 1 << random.nextInt(8)) ? 1 : 0;
        i++;
      }
    }
    assertThat(named).isGreaterThan(FLIPS / 4);
  }

  @Test
  void a_flipped_byte_of_the_log_that_a_crash_left_is_named_or_harmless() throws IOException {
    Random random = new Random(5);
    int size = Math.toIntExact(Files.size(crashed.resolve(WAL)));
    int named = 0;
    for (int i = 0; i < FLIPS; i++) {
      named += flipped(crashed, WAL, random.nextInt(size), 1 << random.nextInt(8)) ? 1 : 0;
    }
    assertThat(named).as("a frame that does not add up ends the log").isGreaterThan(FLIPS / 2);
  }

  @ParameterizedTest
  @ValueSource(strings = {WAL, Ledger.FILE})
  void a_file_that_was_cut_off_is_named_or_harmless(String file) throws IOException {
    Path store = file.equals(WAL) ? crashed : closed;
    Random random = new Random(6);
    byte[] bytes = Files.readAllBytes(store.resolve(file));
    int named = 0;
    for (int i = 0; i < FLIPS / 2; i++) {
      Path copy = copyOf(store);
      int length = random.nextInt(bytes.length);
      Files.write(copy.resolve(file), Arrays.copyOf(bytes, length));
      named += named(copy, file + " cut at " + length) ? 1 : 0;
    }
    assertThat(named).isPositive();
  }

  @Test
  void a_log_that_is_missing_is_missed() throws IOException {
    Path copy = copyOf(crashed);
    Files.delete(copy.resolve(WAL));
    assertThatThrownBy(() -> opened(copy))
        .isInstanceOf(LedgerUnavailable.class)
        .hasMessageContaining("The store is damaged: its trail ends before event");
  }

  @Test
  void an_older_copy_in_its_place_is_said_and_taken_where_that_is_meant() throws IOException {
    Path older = folder.resolve("older");
    Path site = folder.resolve("site");
    try (Store store = Store.in(site)) {
      store.filed(Store.result("0001", 142));
    }
    copy(site, older);
    try (Store store = Store.in(site)) {
      store.filed(Store.result("0002", 142));
    }
    Files.copy(
        older.resolve(Ledger.FILE),
        site.resolve(Ledger.FILE),
        java.nio.file.StandardCopyOption.REPLACE_EXISTING);
    assertThatThrownBy(() -> Store.in(site))
        .isInstanceOf(LedgerDamaged.class)
        .hasMessageContaining("ends before event 4")
        .hasMessageContaining("remove the file ledger.head");
    Files.delete(site.resolve(Shadow.FILE));
    try (Store store = Store.in(site)) {
      assertThat(store.proof().holds()).isTrue();
    }
  }

  @ParameterizedTest
  @ValueSource(
      strings = {
        "UPDATE entry SET scan = replace(scan, '101', '701') WHERE id = 2",
        "UPDATE entry SET state = 'discarded' WHERE id = 2",
        "UPDATE entry SET location = 'Observation/9' WHERE id = 2",
        "UPDATE entry SET seal = NULL WHERE id = 2"
      })
  void a_row_that_somebody_changed_with_a_tool_is_not_served(String sql) throws Exception {
    Path copy = copyOf(closed);
    byTool(copy, sql);
    try (Ledger ledger = Ledger.open(copy, TestClock.at("2026-03-15T09:00:00Z"))) {
      assertThatThrownBy(() -> ledger.records().entry(2))
          .isInstanceOf(LedgerDamaged.class)
          .hasMessageContaining("The store is damaged: entry 2 is not as it was written.")
          .hasMessageContaining("restore it from a backup");
      assertThat(ledger.records().entry(3)).isPresent();
      assertThat(new Reconciliation(ledger).prove(Reconciliation.Span.all(null)))
          .satisfies(
              proof -> {
                assertThat(proof.holds()).isFalse();
                assertThat(proof.damaged()).containsExactly("entry 2 is not as it was written");
              });
    }
  }

  @Test
  void raw_bytes_that_changed_are_not_served() throws Exception {
    for (String sql :
        new String[] {
          "UPDATE submission_chunk SET bytes = x'00' WHERE submission_id = 3",
          "DELETE FROM submission_chunk WHERE submission_id = 3"
        }) {
      Path copy = copyOf(closed);
      byTool(copy, sql);
      try (Ledger ledger = Ledger.open(copy, TestClock.at("2026-03-15T09:00:00Z"))) {
        for (org.assertj.core.api.ThrowableAssert.ThrowingCallable reading :
            java.util.List.<org.assertj.core.api.ThrowableAssert.ThrowingCallable>of(
                () -> ledger.inbox().bytes(3).readAllBytes(),
                () -> ledger.inbox().bytes(3, 2, 2))) {
          assertThatThrownBy(reading)
              .isInstanceOf(LedgerDamaged.class)
              .hasMessageContaining(
                  "the raw bytes of submission 3 are not those that were received");
        }
        assertThat(new Reconciliation(ledger).prove(Reconciliation.Span.all(null)).damaged())
            .containsExactly("the raw bytes of submission 3 are not those that were received");
      }
    }
  }

  @Test
  void rows_that_vanished_are_named_by_what_the_trail_knows() throws Exception {
    Path copy = copyOf(closed);
    byTool(copy, "DELETE FROM attempt WHERE entry_id = 3");
    byTool(copy, "DELETE FROM entry WHERE id = 3");
    byTool(copy, "DELETE FROM submission_chunk WHERE submission_id = 3");
    byTool(copy, "DELETE FROM submission WHERE id = 3");
    try (Ledger ledger = Ledger.open(copy, TestClock.at("2026-03-15T09:00:00Z"))) {
      assertThat(new Reconciliation(ledger).prove(Reconciliation.Span.all(null)).damaged())
          .containsExactly(
              "entry 3 is on the trail, and is not in the store any more",
              "submission 3 is on the trail, and is not in the store any more");
    }
  }

  @ParameterizedTest
  @ValueSource(
      strings = {
        "UPDATE entry SET scan = replace(scan, '101', '701') WHERE id = 2",
        "UPDATE submission SET name = 'other.csv' WHERE id = 2"
      })
  void a_claim_hands_over_no_damaged_row_and_seals_none_anew(String sql) throws Exception {
    Path copy = folder.resolve("claimed-" + ++copies);
    try (Store store = Store.in(copy)) {
      store.filed(Store.result("0001", 142));
      store.filed(Store.result("0002", 101));
      store.tampered("UPDATE submission SET state = 'received' WHERE id = 2");
      store.ledger.write(Store.NODE, tx -> tx.handle().execute(RESEAL));
    }
    byTool(copy, sql);
    try (Ledger ledger = Ledger.open(copy, TestClock.at("2026-03-15T09:00:00Z"))) {
      ledger.outbox().release(Store.NODE);
      for (int again = 0; again < 2; again++) {
        assertThatThrownBy(
                () -> {
                  ledger.inbox().claim(Store.NODE, Store.LEASE);
                  ledger.outbox().claim(Store.NODE, 9, Store.LEASE);
                })
            .isInstanceOf(LedgerDamaged.class)
            .hasMessageContaining(" 2 is not as it was written");
      }
      assertThat(ledger.damage()).endsWith(" 2 is not as it was written");
      assertThat(ledger.writable(Store.NODE)).as("one row is not the file").isTrue();
    }
  }

  @Test
  void a_file_that_is_found_damaged_takes_nothing_more() throws Exception {
    Path copy = copyOf(closed);
    try (Ledger ledger = Ledger.open(copy, TestClock.at("2026-03-15T09:00:00Z"))) {
      assertThat(ledger.damage()).isNull();
      byte[] zeros = new byte[4096];
      try (java.io.RandomAccessFile file =
          new java.io.RandomAccessFile(copy.resolve(Ledger.FILE).toFile(), "rw")) {
        for (long page = file.length() / zeros.length / 2;
            page < file.length() / zeros.length;
            page++) {
          file.seek(page * zeros.length);
          file.write(zeros);
        }
      }
      assertThatThrownBy(ledger::requireWhole).isInstanceOf(LedgerDamaged.class);
      assertThat(ledger.damage()).startsWith("its file ");
      assertThatThrownBy(() -> ledger.write(Store.NODE, tx -> 1))
          .isInstanceOf(LedgerDamaged.class)
          .hasMessageContaining("The store is damaged: its file ");
      assertThat(ledger.writable(Store.NODE)).isFalse();
    }
  }

  private static void byTool(Path store, String sql) throws Exception {
    try (java.sql.Connection tool =
            java.sql.DriverManager.getConnection("jdbc:sqlite:" + store.resolve(Ledger.FILE));
        java.sql.Statement statement = tool.createStatement()) {
      assertThat(statement.executeUpdate(sql)).isPositive();
    }
  }

  @AfterAll
  void the_known_store_was_never_touched() {
    assertThat(opened(closed)).isEqualTo(content);
  }
}
