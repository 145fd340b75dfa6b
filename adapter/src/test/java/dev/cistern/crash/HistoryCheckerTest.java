// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.crash.history.Evidence;
import dev.cistern.crash.history.HandedOver;
import dev.cistern.crash.history.HandedOver.Told;
import dev.cistern.crash.history.HistoryChecker;
import dev.cistern.crash.history.Judgement;
import dev.cistern.crash.history.LedgerRows;
import dev.cistern.crash.history.Meant;
import dev.cistern.crash.history.Seen;
import dev.cistern.crash.load.FolderSender;
import dev.cistern.crash.load.FormSender;
import dev.cistern.crash.load.People;
import dev.cistern.crash.load.Sender;
import dev.cistern.testing.FaultyFhirServer.Fault;
import java.nio.file.Files;
import java.nio.file.Path;
import java.sql.Connection;
import java.sql.DriverManager;
import java.sql.Statement;
import java.time.Clock;
import java.time.Instant;
import java.util.ArrayList;
import java.util.List;
import java.util.Random;
import java.util.function.UnaryOperator;
import java.util.stream.Stream;
import org.junit.jupiter.api.BeforeAll;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;

/** A judge who never finds fault is none: each promise is broken on purpose in a true history. */
class HistoryCheckerTest {
  @TempDir static Path folder;

  /** A history in which nothing went wrong. */
  private static Evidence truth;

  @BeforeAll
  static void let_the_adapter_work() throws Exception {
    Path site = Files.createDirectories(folder.resolve("site"));
    try (InnerScene scene = InnerScene.at(site, Clock.systemUTC(), () -> Fault.NONE)) {
      List<Sender> senders =
          List.of(
              FolderSender.dayFiles(site, new Random(1)),
              FolderSender.gateway(site, new Random(2)),
              FolderSender.messages(site, new Random(3)),
              new FormSender(scene.form(), new Random(4), Clock.systemUTC(), () -> true));
      for (int i = 0; i < 24; i++) {
        for (Sender sender : senders) {
          sender.handOver();
        }
        if (i % 8 == 7) { // what comes later corrects what is there
          scene.awaitQuiet(() -> handed(senders));
        }
      }
      truth = scene.evidence(handed(senders));
    }
  }

  private static List<HandedOver> handed(List<Sender> senders) {
    return senders.stream().flatMap(sender -> sender.history().stream()).toList();
  }

  private static List<Integer> violated(Evidence evidence) {
    return HistoryChecker.judge(evidence).stream()
        .filter(judgement -> !judgement.holds())
        .map(Judgement::promise)
        .toList();
  }

  @Test
  void a_true_history_holds() {
    assertThat(HistoryChecker.judge(truth)).hasSize(10).allMatch(Judgement::holds);
    assertThat(truth.server()).as("there is something to judge").hasSizeGreaterThan(50);
    assertThat(truth.server()).as("a wrong patient was corrected").anyMatch(Seen::withdrawn);
    assertThat(truth.handed())
        .extracting(HandedOver::told)
        .contains(Told.KEPT, Told.RETURNED, Told.NOT_KEPT);
    assertThat(truth.ledger().entries())
        .extracting(LedgerRows.Entry::state)
        .contains("delivered", "superseded", "duplicate", "rejected", "returned");
  }

  private static List<Seen> server(UnaryOperator<Seen> change) {
    List<Seen> changed = new ArrayList<>();
    boolean done = false;
    for (Seen seen : truth.server()) {
      boolean now = !done && !seen.withdrawn();
      changed.add(now ? change.apply(seen) : seen);
      done |= now;
    }
    return changed;
  }

  private static Seen standing() {
    return truth.server().stream().filter(seen -> !seen.withdrawn()).findFirst().orElseThrow();
  }

  private static List<Seen> and(Seen more) {
    return Stream.concat(truth.server().stream(), Stream.of(more)).toList();
  }

  private static Seen changed(Seen seen, String patient, int millilitres) {
    return new Seen(seen.id(), seen.device(), seen.exam(), patient, millilitres, seen.withdrawn());
  }

  @Test
  void a_result_that_is_lost_is_found() {
    Seen lost = standing();
    List<Seen> rest = truth.server().stream().filter(seen -> !seen.equals(lost)).toList();
    assertThat(violated(truth.withServer(rest))).containsExactly(2);
  }

  @Test
  void a_result_that_is_doubled_is_found() {
    Seen seen = standing();
    Seen again =
        new Seen("2", seen.device(), seen.exam(), seen.patient(), seen.millilitres(), false);
    assertThat(violated(truth.withServer(and(again)))).containsExactly(3);
  }

  @Test
  void an_older_revision_that_wins_is_found() {
    List<Seen> older =
        truth.server().stream()
            .map(
                seen ->
                    seen.device().startsWith("RW")
                        ? changed(seen, seen.patient(), seen.millilitres() - 1)
                        : seen)
            .toList();
    assertThat(violated(truth.withServer(older))).contains(4);
  }

  @Test
  void a_result_that_is_invented_is_found() {
    Seen invented = new Seen("3", "AV-0012", "999999", People.KNOWN.get(0), 100, false);
    assertThat(violated(truth.withServer(and(invented)))).containsExactly(5);
  }

  @Test
  void a_volume_that_is_invented_is_found() {
    List<Seen> other = server(seen -> changed(seen, seen.patient(), seen.millilitres() + 5000));
    assertThat(violated(truth.withServer(other))).containsExactly(5);
  }

  @Test
  void a_patient_who_is_guessed_is_found() {
    List<Seen> other = server(seen -> changed(seen, People.TWINS, seen.millilitres()));
    assertThat(violated(truth.withServer(other))).containsExactly(5);
  }

  @Test
  void what_was_held_and_is_at_the_server_is_found() {
    Seen held =
        truth.handed().stream()
            .flatMap(each -> each.meant().stream())
            .filter(m -> m.fate() == Meant.Fate.HELD)
            .map(m -> new Seen("4", m.device(), m.exam(), m.patient(), m.millilitres(), false))
            .findFirst()
            .orElseThrow();
    assertThat(violated(truth.withServer(and(held)))).containsExactly(5);
  }

  private static List<HandedOver> handed(UnaryOperator<HandedOver> change) {
    List<HandedOver> all = new ArrayList<>(truth.handed());
    for (int i = 0; i < all.size(); i++) {
      if (all.get(i).told() == Told.KEPT) {
        all.set(i, change.apply(all.get(i)));
        return all;
      }
    }
    throw new AssertionError("nothing was kept");
  }

  @Test
  void a_file_that_vanished_is_found() {
    assertThat(violated(truth.withHanded(handed(each -> each.told(Told.VANISHED))))).contains(10);
  }

  @Test
  void a_post_without_an_answer_is_found() {
    assertThat(violated(truth.withHanded(handed(each -> each.told(Told.NOTHING))))).contains(9);
  }

  @Test
  void a_refusal_without_a_reason_is_found() {
    List<HandedOver> silent =
        handed(
            each ->
                new HandedOver(
                    each.source(),
                    each.name(),
                    each.bytes(),
                    each.meant(),
                    Told.NOT_KEPT,
                    each.toldAt(),
                    false));
    assertThat(violated(truth.withHanded(silent))).containsExactly(10);
  }

  @Test
  void an_acknowledgement_that_came_before_the_commit_is_found() {
    List<HandedOver> early =
        handed(
            each ->
                new HandedOver(
                    each.source(),
                    each.name(),
                    each.bytes(),
                    each.meant(),
                    each.told(),
                    Instant.EPOCH,
                    true));
    assertThat(violated(truth.withHanded(early))).containsExactly(1);
  }

  @Test
  void a_patient_in_the_log_is_found() {
    Evidence.Written line =
        new Evidence.Written("the log", "no patient has " + People.KNOWN.get(1) + ".");
    assertThat(violated(truth.withWritten(List.of(line)))).containsExactly(8);
  }

  @ParameterizedTest
  @CsvSource(
      delimiterString = " => ",
      value = {
        "1 => DELETE FROM submission_chunk; DELETE FROM submission",
        "1 => UPDATE submission SET received_at = received_at + 86400000 WHERE id = 1",
        "2 => DELETE FROM entry WHERE id = (SELECT MAX(id) FROM entry WHERE ordinal > 1)",
        "2 => UPDATE entry SET state = 'rejected' WHERE id = (SELECT MIN(id) FROM entry WHERE state = 'delivered')",
        "2 => UPDATE entry SET other_entry = NULL WHERE state = 'superseded'",
        "2 => UPDATE entry SET state = 'delivered' WHERE state = 'superseded'",
        "6 => DELETE FROM trail WHERE seq = 7",
        "6 => UPDATE trail SET detail = '{}' WHERE seq = 5",
        "6 => UPDATE trail SET actor = 'nobody' WHERE seq = 1",
        "6 => UPDATE entry SET state = 'discarded' WHERE id = 1",
        "6 => DELETE FROM trail WHERE seq = (SELECT MAX(seq) FROM trail WHERE entry_id IS NOT NULL)",
        "7 => UPDATE submission_chunk SET bytes = CAST(bytes || ' ' AS BLOB) WHERE submission_id = 1",
        "7 => UPDATE submission SET sha256 = CASE WHEN sha256 LIKE 'a%' THEN 'b' ELSE 'a' END || substr(sha256, 2) WHERE id = 2",
        "8 => UPDATE trail SET detail = '9990000018' WHERE seq = 3",
        "9 => UPDATE entry SET state = 'ready' WHERE id = 2",
        "9 => UPDATE submission SET state = 'received' WHERE id = 1",
        "9 => UPDATE destination SET state = 'paused'",
      })
  void a_ledger_that_was_spoilt_is_found(int promise, String sql) throws Exception {
    Path copy = folder.resolve("spoilt.db");
    Files.deleteIfExists(copy);
    try (Connection connection =
            DriverManager.getConnection(
                "jdbc:sqlite:" + FhirRecord.ledger(folder.resolve("site/data")));
        Statement statement = connection.createStatement()) {
      statement.execute("VACUUM INTO '" + copy + "'");
    }
    try (Connection connection = DriverManager.getConnection("jdbc:sqlite:" + copy);
        Statement statement = connection.createStatement()) {
      for (String each : sql.split(";")) {
        assertThat(statement.executeUpdate(each)).as(each).isPositive();
      }
    }
    assertThat(violated(truth.withLedger(LedgerRows.read(copy)))).contains(promise);
  }
}
