// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ship;

import java.io.IOException;
import java.net.DatagramPacket;
import java.net.DatagramSocket;
import java.net.InetAddress;
import java.net.InetSocketAddress;
import java.net.Socket;
import java.nio.charset.StandardCharsets;
import java.time.ZoneOffset;
import java.time.format.DateTimeFormatter;
import java.util.Locale;

/**
 * Sends RFC 5424 messages: one datagram each over UDP (RFC 5426), counted octets over TCP (RFC
 * 6587). Neither is acknowledged: a message may be lost without anybody knowing, so this is best
 * beside another channel.
 */
record SyslogChannel(String host, int port, boolean tcp) implements Channel {
  /** Facility 13 (log audit), severity 5 (notice). */
  private static final int PRIORITY = 13 * 8 + 5;

  private static final int PATIENCE_MILLIS = 10_000;
  private static final DateTimeFormatter TIME =
      DateTimeFormatter.ofPattern("yyyy-MM-dd'T'HH:mm:ss.SSS'Z'", Locale.ROOT)
          .withZone(ZoneOffset.UTC);

  @Override
  public String name() {
    return "syslog " + host;
  }

  @Override
  public void send(Head head) throws NotShipped {
    byte[] message = message(head).getBytes(StandardCharsets.UTF_8);
    try {
      if (tcp) {
        overTcp(message);
      } else {
        overUdp(message);
      }
    } catch (IOException e) {
      throw new NotShipped("not sent (" + e.getClass().getSimpleName() + ")", e);
    }
  }

  static String message(Head head) {
    return "<"
        + PRIORITY
        + ">1 "
        + TIME.format(head.at())
        + " "
        + head.node()
        + " cistern - trail-head - "
        + head.line();
  }

  private void overTcp(byte[] message) throws IOException {
    try (Socket socket = new Socket()) {
      socket.connect(new InetSocketAddress(host, port), PATIENCE_MILLIS);
      socket.getOutputStream().write((message.length + " ").getBytes(StandardCharsets.US_ASCII));
      socket.getOutputStream().write(message);
      socket.getOutputStream().flush();
      socket.shutdownOutput();
    }
  }

  private void overUdp(byte[] message) throws IOException {
    try (DatagramSocket socket = new DatagramSocket()) {
      socket.send(new DatagramPacket(message, message.length, InetAddress.getByName(host), port));
    }
  }
}
