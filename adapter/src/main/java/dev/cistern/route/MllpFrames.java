// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.config.Settings;
import io.netty.buffer.ByteBuf;
import io.netty.buffer.Unpooled;
import io.netty.channel.ChannelHandler;
import io.netty.handler.timeout.ReadTimeoutHandler;
import java.util.Arrays;
import java.util.LinkedHashMap;
import java.util.Map;
import java.util.concurrent.TimeUnit;
import org.apache.camel.component.netty.ChannelHandlerFactories;
import org.apache.camel.component.netty.DefaultChannelHandlerFactory;

/**
 * Messages on a connection: a start byte, the message, an end byte and a return (HL7 v2.5.1
 * implementation guide, appendix C, "Minimal Lower Layer Protocol").
 *
 * <p>A frame ends with its end byte: some senders leave the return out, and what stands between two
 * frames belongs to none. A start byte begins a frame anew: what a sender left half sent was never
 * acknowledged, and comes again.
 */
final class MllpFrames {
  private static final byte START = 0x0B;
  private static final byte END = 0x1C;
  private static final byte RETURN = 0x0D;

  private MllpFrames() {}

  /** What takes the bytes of a connection apart, in order and by name. */
  static Map<String, ChannelHandler> decoders(Settings.Mllp source) {
    Map<String, ChannelHandler> handlers = new LinkedHashMap<>();
    handlers.put("connections", new MostConnections(source.connections()));
    if (!source.idle().isZero()) {
      handlers.put("idle", new IdleFactory(source.idle().toMillis()));
    }
    handlers.put(
        "frames",
        ChannelHandlerFactories.newDelimiterBasedFrameDecoder(
            source.largestMessage(),
            new ByteBuf[] {Unpooled.wrappedBuffer(new byte[] {END})},
            "tcp"));
    handlers.put("bytes", ChannelHandlerFactories.newByteArrayDecoder("tcp"));
    return handlers;
  }

  /** The message in what a connection sent up to an end byte; empty where none was begun. */
  static byte[] message(byte[] sent) {
    for (int i = sent.length - 1; i >= 0; i--) {
      if (sent[i] == START) {
        return Arrays.copyOfRange(sent, i + 1, sent.length);
      }
    }
    return new byte[0];
  }

  static byte[] framed(byte[] message) {
    byte[] frame = new byte[message.length + 3];
    frame[0] = START;
    System.arraycopy(message, 0, frame, 1, message.length);
    frame[message.length + 1] = END;
    frame[message.length + 2] = RETURN;
    return frame;
  }

  /** Each connection has a clock of its own. */
  private static final class IdleFactory extends DefaultChannelHandlerFactory {
    private final long millis;

    IdleFactory(long millis) {
      this.millis = millis;
    }

    @Override
    public ChannelHandler newChannelHandler() {
      return new ReadTimeoutHandler(millis, TimeUnit.MILLISECONDS);
    }
  }
}
