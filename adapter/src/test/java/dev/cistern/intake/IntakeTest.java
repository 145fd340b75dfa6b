// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.intake;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import dev.cistern.ledger.Handover;
import dev.cistern.ledger.Inbox;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.Reconciliation;
import dev.cistern.ledger.Submission;
import dev.cistern.testing.TestClock;
import java.io.ByteArrayInputStream;
import java.io.IOException;
import java.io.InputStream;
import java.nio.file.Path;
import java.security.MessageDigest;
import java.time.Duration;
import java.util.Arrays;
import java.util.HexFormat;
import java.util.Random;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.ValueSource;

class IntakeTest {
  private static final String NODE = "node alder-vale-test";
  private static final Handover DAY_FILE =
      new Handover("elm-ward", "folder", "day.csv", "text/csv", null);

  @TempDir Path folder;
  private Ledger ledger;
  private Intake intake;

  @BeforeEach
  void open() {
    ledger = Ledger.open(folder, TestClock.at("2026-03-14T09:00:00Z"));
    intake = new Intake(ledger, NODE);
  }

  @AfterEach
  void close() {
    ledger.close();
  }

  private static byte[] bytes(int size) {
    byte[] bytes = new byte[size];
    new Random(size).nextBytes(bytes);
    return bytes;
  }

  private static InputStream stream(byte[] bytes) {
    return new ByteArrayInputStream(bytes);
  }

  /** Gives some bytes, and then the line is cut. */
  private static final class CutOff extends InputStream {
    private final InputStream first;

    CutOff(int bytes) {
      first = stream(bytes(bytes));
    }

    @Override
    public int read() throws IOException {
      int next = first.read();
      if (next < 0) {
        throw new IOException("the line was cut");
      }
      return next;
    }

    @Override
    public int read(byte[] into, int offset, int length) throws IOException {
      int read = first.read(into, offset, length);
      if (read < 0) {
        throw new IOException("the line was cut");
      }
      return read;
    }
  }

  @ParameterizedTest
  @ValueSource(
      ints = {
        0,
        1,
        Inbox.CHUNK - 1,
        Inbox.CHUNK,
        Inbox.CHUNK + 1,
        2 * Inbox.CHUNK,
        15 * Inbox.CHUNK + 7,
        16 * Inbox.CHUNK,
        16 * Inbox.CHUNK + 1,
        32 * Inbox.CHUNK
      })
  void what_was_handed_over_comes_back_byte_for_byte(int size) throws Exception {
    byte[] bytes = bytes(size);

    long id = intake.receive(DAY_FILE, stream(bytes));

    Submission submission = ledger.inbox().find(id).orElseThrow();
    assertThat(submission.size()).isEqualTo(size);
    assertThat(submission.sha256())
        .isEqualTo(HexFormat.of().formatHex(MessageDigest.getInstance("SHA-256").digest(bytes)));
    assertThat(submission.state()).isEqualTo("received");
    assertThat(submission.name()).isEqualTo("day.csv");
    assertThat(submission.contentType()).isEqualTo("text/csv");
    try (InputStream back = ledger.inbox().bytes(id)) {
      assertThat(back.readAllBytes()).isEqualTo(bytes);
    }
  }

  @Test
  void any_range_of_bytes_can_be_read_also_across_pieces_and_beyond_the_end() throws Exception {
    int size = 3 * Inbox.CHUNK;
    byte[] bytes = bytes(size);
    long id = intake.receive(DAY_FILE, stream(bytes));
    int[][] ranges = {
      {0, 0},
      {0, 10},
      {Inbox.CHUNK - 1, 2},
      {Inbox.CHUNK, Inbox.CHUNK},
      {Inbox.CHUNK - 5, Inbox.CHUNK + 10},
      {0, size},
      {size - 1, 1}
    };
    for (int[] range : ranges) {
      assertThat(ledger.inbox().bytes(id, range[0], range[1]))
          .as("%d bytes from %d", range[1], range[0])
          .isEqualTo(Arrays.copyOfRange(bytes, range[0], range[0] + range[1]));
    }
    assertThat(ledger.inbox().bytes(id, size - 3, 10))
        .isEqualTo(Arrays.copyOfRange(bytes, size - 3, size));
    assertThat(ledger.inbox().bytes(id, size, 10)).isEmpty();
    assertThat(ledger.inbox().bytes(id, 10L * size, 10)).isEmpty();
  }

  @ParameterizedTest
  @ValueSource(ints = {0, 100, Inbox.CHUNK, 16 * Inbox.CHUNK, 20 * Inbox.CHUNK})
  void a_sender_that_fails_half_way_leaves_nothing(int sent) {
    assertThatThrownBy(() -> intake.receive(DAY_FILE, new CutOff(sent)))
        .isInstanceOf(IOException.class)
        .hasMessage("the line was cut");

    assertThat(ledger.inbox().find(1)).isEmpty();
    assertThat(ledger.inbox().bytes(1)).isEmpty();
    assertThat(ledger.verifyTrail().events()).isZero();
    assertThat(ledger.records().openSubmissions()).isZero();
  }

  @Test
  void what_the_last_look_refuses_is_not_kept() {
    assertThatThrownBy(
            () ->
                intake.receive(
                    DAY_FILE,
                    stream(bytes(17 * Inbox.CHUNK)),
                    () -> {
                      throw new IOException("the file changed while it was read");
                    }))
        .isInstanceOf(IOException.class);

    assertThat(ledger.inbox().find(1)).isEmpty();
    assertThat(ledger.records().openSubmissions()).isZero();
  }

  @Test
  void half_a_submission_is_not_refined_and_does_not_survive_the_next_start() {
    long half = ledger.write(NODE, tx -> ledger.inbox().open(tx, DAY_FILE));
    ledger.write(
        NODE,
        tx -> {
          ledger.inbox().chunk(tx, half, 0, bytes(10));
          return half;
        });
    assertThat(ledger.inbox().claim(NODE, Duration.ofMinutes(1))).isEmpty();

    assertThat(ledger.inbox().dropUnfinished(NODE)).isEqualTo(1);

    assertThat(ledger.inbox().find(half)).isEmpty();
    assertThat(ledger.inbox().bytes(half)).isEmpty();
    assertThat(ledger.verifyTrail().events()).isZero();
  }

  @Test
  void what_is_complete_survives_the_clearing_at_the_start() throws Exception {
    long whole = intake.receive(DAY_FILE, stream(bytes(10)));

    assertThat(ledger.inbox().dropUnfinished(NODE)).isZero();

    assertThat(ledger.inbox().find(whole)).isPresent();
    assertThat(new Reconciliation(ledger).prove(Reconciliation.Span.all(null)).sums())
        .singleElement()
        .satisfies(sum -> assertThat(sum.open()).isEqualTo(1));
  }

  @Test
  void the_trail_says_what_was_received_and_by_whom() throws Exception {
    byte[] bytes = bytes(10);
    long id = intake.receive(DAY_FILE, stream(bytes));

    java.util.List<dev.cistern.ledger.Trail.Event> events = new java.util.ArrayList<>();
    ledger.trail(null, null, events::add);

    assertThat(events)
        .singleElement()
        .satisfies(
            event -> {
              assertThat(event.event()).isEqualTo("received");
              assertThat(event.actor()).isEqualTo(NODE);
              assertThat(event.submission()).isEqualTo(id);
              assertThat(event.detail()).contains("\"bytes\":10").contains("sha256");
            });
  }
}
