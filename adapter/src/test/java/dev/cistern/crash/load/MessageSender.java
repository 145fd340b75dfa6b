// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.load;

import dev.cistern.crash.history.HandedOver;
import dev.cistern.crash.history.HandedOver.Told;
import dev.cistern.crash.history.Meant;
import java.io.BufferedInputStream;
import java.io.ByteArrayOutputStream;
import java.io.IOException;
import java.io.InputStream;
import java.io.OutputStream;
import java.net.InetAddress;
import java.net.InetSocketAddress;
import java.net.Socket;
import java.nio.charset.StandardCharsets;
import java.time.Clock;
import java.util.List;
import java.util.Queue;
import java.util.Random;
import java.util.Set;
import java.util.concurrent.ConcurrentLinkedQueue;
import java.util.concurrent.ConcurrentSkipListSet;

/**
 * Sends HL7 v2 messages over a connection, each until it is acknowledged with AA; now and then one
 * that was acknowledged comes again, as after an acknowledgement that was lost.
 */
public final class MessageSender implements Sender {
  private static final int START = 0x0b;
  private static final int END = 0x1c;
  private static final int PATIENCE_MILLIS = 20_000;

  private final int port;
  private final Random random;
  private final Versions versions;
  private final Queue<HandedOver> sent = new ConcurrentLinkedQueue<>();
  private final Set<String> codes = new ConcurrentSkipListSet<>();
  private int number;

  public MessageSender(int port, Random random) {
    this.port = port;
    this.random = random;
    this.versions = new Versions(random, "RW-0987", false);
  }

  @Override
  public void handOver() throws InterruptedException {
    Meant meant = versions.next();
    String control = "RC%07d".formatted(++number);
    byte[] message = MessageBatches.message(meant, control).getBytes(StandardCharsets.UTF_8);
    for (int times = random.nextInt(6) == 0 ? 2 : 1; times > 0; times--) {
      while (!acknowledged(message)) {
        Thread.sleep(60); // nobody is listening just now, or the store cannot be written
      }
    }
    sent.add(
        new HandedOver(
            "messages",
            control,
            message,
            List.of(meant),
            Told.KEPT,
            Clock.systemUTC().instant(),
            true));
  }

  private boolean acknowledged(byte[] message) {
    try (Socket socket = new Socket()) {
      socket.connect(
          new InetSocketAddress(InetAddress.getLoopbackAddress(), port), PATIENCE_MILLIS);
      socket.setSoTimeout(PATIENCE_MILLIS);
      OutputStream out = socket.getOutputStream();
      out.write(START);
      out.write(message);
      out.write(new byte[] {END, '\r'});
      out.flush();
      String code = code(new BufferedInputStream(socket.getInputStream()));
      codes.add(code);
      return code.equals("AA");
    } catch (IOException e) {
      return false; // no answer: it is sent again
    }
  }

  /** MSA-1 of the answer; fails where the connection ends before the frame does. */
  private static String code(InputStream in) throws IOException {
    ByteArrayOutputStream answer = new ByteArrayOutputStream();
    for (int b = in.read(); b != END; b = in.read()) {
      if (b < 0) {
        throw new IOException("the answer is not whole");
      }
      answer.write(b);
    }
    String text = answer.toString(StandardCharsets.UTF_8);
    int at = text.indexOf("\rMSA|");
    return at < 0 ? "none" : text.substring(at + 5, at + 7);
  }

  /** With what messages were answered. */
  public Set<String> codes() {
    return Set.copyOf(codes);
  }

  @Override
  public List<HandedOver> history() {
    return List.copyOf(sent);
  }
}
