// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.wire;

import java.io.ByteArrayOutputStream;
import java.net.http.HttpResponse.BodySubscriber;
import java.nio.ByteBuffer;
import java.nio.charset.StandardCharsets;
import java.util.List;
import java.util.concurrent.CompletableFuture;
import java.util.concurrent.CompletionStage;
import java.util.concurrent.Flow;
import org.jspecify.annotations.Nullable;

/**
 * Reads an answer as UTF-8 text up to a length, and cuts the connection at the first byte behind it
 * (RFC 9110, section 8.6, sets no limit, so a server can send for ever).
 */
final class BoundedText implements BodySubscriber<String> {
  private final int most;
  private final CompletableFuture<String> text = new CompletableFuture<>();
  private final ByteArrayOutputStream bytes = new ByteArrayOutputStream();
  private Flow.@Nullable Subscription subscription;

  /**
   * @param most the longest answer that is taken, in bytes
   */
  BoundedText(int most) {
    this.most = most;
  }

  @Override
  public CompletionStage<String> getBody() {
    return text;
  }

  @Override
  public void onSubscribe(Flow.Subscription opened) {
    if (subscription != null) {
      opened.cancel();
      return;
    }
    subscription = opened;
    opened.request(1);
  }

  @Override
  public void onNext(List<ByteBuffer> items) {
    Flow.Subscription open = subscription;
    if (open == null || text.isDone()) {
      return;
    }
    for (ByteBuffer item : items) {
      if (bytes.size() + item.remaining() > most) {
        open.cancel();
        bytes.reset();
        text.completeExceptionally(new AnswerTooLong(most));
        return;
      }
      byte[] piece = new byte[item.remaining()];
      item.get(piece);
      bytes.write(piece, 0, piece.length);
    }
    open.request(1);
  }

  @Override
  public void onError(Throwable broken) {
    text.completeExceptionally(broken);
  }

  @Override
  public void onComplete() {
    text.complete(bytes.toString(StandardCharsets.UTF_8));
  }
}
