// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.testing;

import java.io.IOException;
import java.io.InputStream;
import java.io.OutputStream;
import java.net.InetAddress;
import java.net.ServerSocket;
import java.net.Socket;
import java.nio.charset.StandardCharsets;
import java.util.concurrent.atomic.AtomicReference;

/** Stands between a client and a server on the loopback address, and cuts a connection as told. */
public final class CuttingProxy implements AutoCloseable {
  /** When a connection is cut: once, then everything passes again. */
  public enum Cut {
    /** Nothing is. */
    NEVER,
    /** Instead of passing the words on. */
    BEFORE,
    /** When the server has answered them; the client does not see the answer. */
    AFTER
  }

  private final ServerSocket listening;
  private final int target;
  private final String words;
  private final AtomicReference<Cut> next = new AtomicReference<>(Cut.NEVER);

  /**
   * @param words whatever a client sends that holds these words
   */
  public CuttingProxy(int target, String words) throws IOException {
    this.listening = new ServerSocket(0, 50, InetAddress.getLoopbackAddress());
    this.target = target;
    this.words = words;
    daemon(this::accept);
  }

  public int port() {
    return listening.getLocalPort();
  }

  /** Cuts the next connection on which the words are said. */
  public void cut(Cut how) {
    next.set(how);
  }

  /** Whether it was cut as told. */
  public boolean done() {
    return next.get() == Cut.NEVER;
  }

  private void accept() {
    while (!listening.isClosed()) {
      try {
        Socket client = listening.accept();
        Socket server = new Socket(InetAddress.getLoopbackAddress(), target);
        client.setTcpNoDelay(true);
        server.setTcpNoDelay(true);
        Pair pair = new Pair(client, server);
        daemon(pair::requests);
        daemon(pair::answers);
      } catch (IOException e) {
        return; // Closed.
      }
    }
  }

  private static void daemon(Runnable work) {
    Thread thread = new Thread(work, "cutting-proxy");
    thread.setDaemon(true);
    thread.start();
  }

  private final class Pair {
    private final Socket client;
    private final Socket server;
    private volatile boolean cutAtAnswer;

    Pair(Socket client, Socket server) {
      this.client = client;
      this.server = server;
    }

    void requests() {
      try (client;
          server) {
        InputStream in = client.getInputStream();
        OutputStream out = server.getOutputStream();
        byte[] buffer = new byte[64 * 1024];
        for (int n = in.read(buffer); n > 0; n = in.read(buffer)) {
          boolean said = new String(buffer, 0, n, StandardCharsets.ISO_8859_1).contains(words);
          if (said && next.compareAndSet(Cut.BEFORE, Cut.NEVER)) {
            return;
          }
          cutAtAnswer |= said && next.compareAndSet(Cut.AFTER, Cut.NEVER);
          out.write(buffer, 0, n);
        }
      } catch (IOException e) {
        return; // One side is gone: so is the other.
      }
    }

    void answers() {
      try (client;
          server) {
        InputStream in = server.getInputStream();
        OutputStream out = client.getOutputStream();
        byte[] buffer = new byte[64 * 1024];
        for (int n = in.read(buffer); n > 0 && !cutAtAnswer; n = in.read(buffer)) {
          out.write(buffer, 0, n);
        }
      } catch (IOException e) {
        return; // One side is gone: so is the other.
      }
    }
  }

  @Override
  public void close() throws IOException {
    listening.close();
  }
}
