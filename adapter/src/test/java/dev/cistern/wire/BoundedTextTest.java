// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.wire;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import java.nio.ByteBuffer;
import java.nio.charset.StandardCharsets;
import java.util.List;
import java.util.concurrent.CompletableFuture;
import java.util.concurrent.Flow;
import org.junit.jupiter.api.Test;

class BoundedTextTest {
  /** Counts what is asked of it. */
  private static final class Source implements Flow.Subscription {
    private long requested;
    private boolean cancelled;

    @Override
    public void request(long n) {
      requested += n;
    }

    @Override
    public void cancel() {
      cancelled = true;
    }
  }

  private final Source source = new Source();
  private final BoundedText text = new BoundedText(10);

  private CompletableFuture<String> read() {
    return text.getBody().toCompletableFuture();
  }

  private void next(String piece) {
    text.onNext(List.of(ByteBuffer.wrap(piece.getBytes(StandardCharsets.UTF_8))));
  }

  @Test
  void an_answer_of_the_greatest_length_is_read_whole() {
    text.onSubscribe(source);
    next("12345");
    next("67ä0");
    next("");
    text.onComplete();
    assertThat(read()).isCompletedWithValue("1234567ä0");
    assertThat(source.cancelled).isFalse();
  }

  @Test
  void the_first_byte_too_many_ends_the_connection() {
    text.onSubscribe(source);
    next("1234567890");
    assertThat(source.cancelled).isFalse();
    next("1");
    assertThat(source.cancelled).isTrue();
    assertThatThrownBy(read()::get).hasCauseInstanceOf(AnswerTooLong.class);
    long before = source.requested;
    next("2");
    assertThat(source.requested).as("nothing more is asked for").isEqualTo(before);
  }

  /** A character may be cut between two pieces. */
  @Test
  void pieces_are_joined_before_they_are_read_as_text() {
    byte[] bytes = "ä".getBytes(StandardCharsets.UTF_8);
    text.onSubscribe(source);
    text.onNext(List.of(ByteBuffer.wrap(bytes, 0, 1), ByteBuffer.wrap(bytes, 1, 1)));
    text.onComplete();
    assertThat(read()).isCompletedWithValue("ä");
  }

  @Test
  void a_broken_connection_is_said() {
    text.onSubscribe(source);
    text.onError(new java.io.IOException("gone"));
    assertThatThrownBy(read()::get).hasRootCauseMessage("gone");
  }
}
