// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import io.netty.channel.ChannelHandler;
import io.netty.channel.ChannelHandlerContext;
import io.netty.channel.ChannelInboundHandlerAdapter;
import io.netty.util.AttributeKey;
import java.util.concurrent.atomic.AtomicInteger;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/** Closes connections beyond a number, so that senders that never hang up cannot use up memory. */
@ChannelHandler.Sharable
final class MostConnections extends ChannelInboundHandlerAdapter {
  private static final Logger log = LoggerFactory.getLogger(MostConnections.class);
  private static final AttributeKey<Boolean> COUNTED = AttributeKey.valueOf("counted");

  private final int most;
  private final AtomicInteger open = new AtomicInteger();

  MostConnections(int most) {
    this.most = most;
  }

  @Override
  public void channelActive(ChannelHandlerContext context) throws Exception {
    if (open.incrementAndGet() > most) {
      open.decrementAndGet();
      log.warn("a connection was closed at once: {} are open, and no more are allowed", most);
      context.close();
      return;
    }
    context.channel().attr(COUNTED).set(true);
    super.channelActive(context);
  }

  @Override
  public void channelInactive(ChannelHandlerContext context) throws Exception {
    if (Boolean.TRUE.equals(context.channel().attr(COUNTED).getAndSet(null))) {
      open.decrementAndGet();
    }
    super.channelInactive(context);
  }
}
