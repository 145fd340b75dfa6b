// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import java.io.ByteArrayOutputStream;
import java.io.EOFException;
import java.io.IOException;
import java.net.Socket;
import java.nio.charset.Charset;
import java.nio.charset.StandardCharsets;

/** A system that sends HL7 v2 messages over a socket of its own. */
final class Sender implements AutoCloseable {
  static final int START = 0x0B;
  static final int END = 0x1C;
  static final int RETURN = 0x0D;
  private static final int PATIENCE_MILLIS = 30_000;

  private final Socket socket;

  Sender(Socket socket) throws IOException {
    this.socket = socket;
    socket.setSoTimeout(PATIENCE_MILLIS);
    socket.setTcpNoDelay(true);
  }

  static Sender to(int port) throws IOException {
    return new Sender(new Socket("127.0.0.1", port));
  }

  static byte[] framed(byte[] message) {
    ByteArrayOutputStream frame = new ByteArrayOutputStream();
    frame.write(START);
    frame.writeBytes(message);
    frame.write(END);
    frame.write(RETURN);
    return frame.toByteArray();
  }

  static byte[] framed(String message) {
    return framed(message.getBytes(StandardCharsets.UTF_8));
  }

  void write(byte[] bytes) throws IOException {
    socket.getOutputStream().write(bytes);
    socket.getOutputStream().flush();
  }

  /** The next answer, without its frame. */
  String answer(Charset charset) throws IOException {
    ByteArrayOutputStream answer = new ByteArrayOutputStream();
    int before = -1;
    while (true) {
      int each = socket.getInputStream().read();
      if (each < 0) {
        throw new EOFException("the connection ended before an answer");
      } else if (before == END && each == RETURN) {
        return answer.toString(charset);
      } else if (each != START && each != END) {
        answer.write(each);
      }
      before = each;
    }
  }

  String answer() throws IOException {
    return answer(StandardCharsets.UTF_8);
  }

  String send(String message) throws IOException {
    write(framed(message));
    return answer();
  }

  @Override
  public void close() throws IOException {
    socket.close();
  }
}
