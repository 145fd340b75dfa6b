// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fetch;

import java.io.IOException;
import java.io.InputStream;
import java.io.OutputStream;
import java.net.ConnectException;
import java.net.InetAddress;
import java.net.ServerSocket;
import java.net.Socket;
import java.util.concurrent.atomic.AtomicLong;

/** Stands between a client and a server, and cuts every connection after so many bytes. */
final class ThinWire implements AutoCloseable {
  private final ServerSocket listening;
  private final int server;
  private final AtomicLong left = new AtomicLong(Long.MAX_VALUE);
  private final Runnable whenCut;

  private ThinWire(ServerSocket listening, int server, Runnable whenCut) {
    this.listening = listening;
    this.server = server;
    this.whenCut = whenCut;
  }

  static ThinWire before(int server, Runnable whenCut) throws IOException {
    ThinWire wire =
        new ThinWire(new ServerSocket(0, 5, InetAddress.getLoopbackAddress()), server, whenCut);
    thread(wire::accept);
    return wire;
  }

  int port() {
    return listening.getLocalPort();
  }

  /** From now on, so many bytes come from the server; then the wire is cut, once. */
  void cutAfter(long bytes) {
    left.set(bytes);
  }

  private void accept() {
    try {
      while (true) {
        join(listening.accept());
      }
    } catch (IOException e) {
      // closed
    }
  }

  private void join(Socket client) throws IOException {
    try {
      Socket there = new Socket(InetAddress.getLoopbackAddress(), server);
      thread(() -> carry(client, there, new AtomicLong(Long.MAX_VALUE)));
      thread(() -> carry(there, client, left));
    } catch (ConnectException e) {
      client.close();
    }
  }

  private void carry(Socket from, Socket to, AtomicLong budget) {
    byte[] some = new byte[4096];
    try (from;
        to) {
      InputStream in = from.getInputStream();
      OutputStream out = to.getOutputStream();
      for (int read = in.read(some); read >= 0; read = in.read(some)) {
        if (budget.addAndGet(-read) < 0) {
          budget.set(Long.MAX_VALUE);
          whenCut.run();
          return;
        }
        out.write(some, 0, read);
        out.flush();
      }
    } catch (IOException e) {
      // the other side is gone: so is this one
    }
  }

  private static void thread(Runnable work) {
    Thread thread = new Thread(work, "thin-wire");
    thread.setDaemon(true);
    thread.start();
  }

  @Override
  public void close() throws IOException {
    listening.close();
  }
}
