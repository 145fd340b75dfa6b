// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;
import static org.awaitility.Awaitility.await;

import dev.cistern.config.Settings;
import dev.cistern.intake.Intake;
import dev.cistern.ledger.Inbox;
import dev.cistern.ledger.Ledger;
import dev.cistern.testing.DropFolder;
import dev.cistern.testing.TestClock;
import java.io.IOException;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.StandardOpenOption;
import java.time.Duration;
import java.util.List;
import java.util.concurrent.CompletableFuture;
import java.util.concurrent.CountDownLatch;
import java.util.concurrent.atomic.AtomicReference;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

class FolderSourceTest {
  private static final String NODE = "node alder-vale-test";

  @TempDir Path root;
  private Path inbox;
  private Ledger ledger;
  private FolderSource source;

  @BeforeEach
  void open() throws Exception {
    TestClock clock = TestClock.at("2026-03-14T09:00:00Z");
    inbox = Files.createDirectories(root.resolve("inbox"));
    ledger = Ledger.open(root.resolve("data"), clock);
    Settings.Folder folder =
        new Settings.Folder(
            "elm",
            "elm-ward-export",
            inbox,
            "*",
            false,
            Duration.ZERO,
            Duration.ofSeconds(1),
            ".done");
    source = new FolderSource(folder, new Intake(ledger, NODE), clock);
  }

  @AfterEach
  void close() {
    ledger.close();
  }

  private Path dropped(String name, String text) throws IOException {
    return new DropFolder(inbox).drop(name, text);
  }

  private List<String> done() throws IOException {
    return new DropFolder(inbox).done();
  }

  private String kept(long submission) throws IOException {
    return new String(ledger.inbox().bytes(submission).readAllBytes(), StandardCharsets.UTF_8);
  }

  @Test
  void a_file_is_committed_and_only_then_moved_away() throws Exception {
    Path file = dropped("day.csv", "one");

    source.receive(file.toFile());
    assertThat(kept(1)).isEqualTo("one");
    assertThat(ledger.inbox().find(1).orElseThrow().name()).isEqualTo("day.csv");
    assertThat(file).exists();

    source.moveAway(file.toFile());
    assertThat(file).doesNotExist();
    assertThat(done()).containsExactly("20260314T090000000Z-day.csv");
  }

  @Test
  void a_file_that_is_not_committed_is_not_moved() throws Exception {
    Path file = dropped("day.csv", "one");
    source.moveAway(file.toFile());
    assertThat(file).exists();
  }

  @Test
  void a_file_that_was_committed_but_could_not_be_moved_is_not_committed_again() throws Exception {
    Path inTheWay = dropped(".done", "a file where a folder should be");
    Path file = dropped("day.csv", "one");
    source.receive(file.toFile());
    assertThatThrownBy(() -> source.moveAway(file.toFile())).isInstanceOf(IOException.class);

    for (int look = 0; look < 3; look++) {
      source.receive(file.toFile());
    }
    assertThat(ledger.records().openSubmissions()).isEqualTo(1);

    Files.delete(inTheWay);
    source.receive(file.toFile());
    source.moveAway(file.toFile());
    assertThat(done()).hasSize(1);
    assertThat(ledger.records().openSubmissions()).isEqualTo(1);
  }

  @Test
  void a_file_that_took_its_place_after_the_commit_stays_and_is_read_next() throws Exception {
    Path file = dropped("day.csv", "one");
    source.receive(file.toFile());
    Files.delete(file);
    dropped("day.csv", "two, another file");

    source.moveAway(file.toFile());
    assertThat(file).exists();

    source.receive(file.toFile());
    source.moveAway(file.toFile());
    assertThat(kept(1)).isEqualTo("one");
    assertThat(kept(2)).isEqualTo("two, another file");
    assertThat(file).doesNotExist();
  }

  @Test
  void a_file_that_changes_while_it_is_read_is_not_kept() throws Exception {
    Path file = inbox.resolve("day.csv");
    Files.write(file, new byte[17 * Inbox.CHUNK]);
    CountDownLatch changed = new CountDownLatch(1);
    CompletableFuture<Integer> holding =
        CompletableFuture.supplyAsync(() -> ledger.write(NODE, tx -> waited(changed)));
    AtomicReference<Throwable> failed = new AtomicReference<>();
    Thread reading =
        new Thread(
            () -> {
              try {
                source.receive(file.toFile());
              } catch (IOException e) {
                failed.set(e);
              }
            });
    reading.start();
    // It has read the first pieces and waits for the ledger, which is held.
    await().until(() -> reading.getState() == Thread.State.TIMED_WAITING);
    Files.writeString(file, "more", StandardOpenOption.APPEND);
    changed.countDown();
    reading.join();

    assertThat(holding.join()).isZero();
    assertThat(failed.get()).hasMessage("the file changed while it was read");
    assertThat(ledger.inbox().find(1)).isEmpty();
    assertThat(ledger.records().openSubmissions()).isZero();

    source.receive(file.toFile());
    assertThat(ledger.records().openSubmissions()).isEqualTo(1);
  }

  private static int waited(CountDownLatch latch) {
    try {
      latch.await();
      return 0;
    } catch (InterruptedException e) {
      Thread.currentThread().interrupt();
      return 1;
    }
  }

  @Test
  void a_link_is_not_followed() throws Exception {
    Path secret = Files.writeString(root.resolve("secret"), "not for us");
    Path link = Files.createSymbolicLink(inbox.resolve("day.csv"), secret);
    assertThatThrownBy(() -> source.receive(link.toFile())).isInstanceOf(IOException.class);
    assertThat(ledger.records().openSubmissions()).isZero();
  }

  @Test
  void two_files_of_one_name_are_both_kept() throws Exception {
    Path file = dropped("day.csv", "one");
    source.receive(file.toFile());
    source.moveAway(file.toFile());
    dropped("day.csv", "two");
    source.receive(file.toFile());
    source.moveAway(file.toFile());
    assertThat(List.of(kept(1), kept(2))).containsExactly("one", "two");
    assertThat(done()).as("neither takes the other's place").hasSize(2);
  }
}
