// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.testing;

import com.sun.net.httpserver.HttpExchange;
import com.sun.net.httpserver.HttpServer;
import java.io.IOException;
import java.net.InetAddress;
import java.net.InetSocketAddress;
import java.net.URI;
import java.net.http.HttpClient;
import java.net.http.HttpRequest;
import java.net.http.HttpResponse;
import java.nio.charset.StandardCharsets;
import java.util.Set;
import java.util.concurrent.Executors;

/**
 * Stands between a browser and an adapter, on an address that stays, and lets pass what it likes.
 */
public final class FrontDoor implements AutoCloseable {
  /** What becomes of a request. */
  public enum Mood {
    /** It goes through. */
    OPEN,
    /** The connection is cut before anything was read. */
    SHUT,
    /** It is answered with 503. */
    BUSY,
    /** It goes through, and the answer is lost. */
    DEAF
  }

  private static final Set<String> OURS =
      Set.of("host", "connection", "content-length", "upgrade", "transfer-encoding", "expect");

  private final HttpServer server;
  private final URI behind;
  private final HttpClient http = HttpClient.newHttpClient();
  private volatile Mood mood = Mood.OPEN;

  /**
   * @param behind the address of the adapter
   */
  public FrontDoor(String behind) throws IOException {
    this.behind = URI.create(behind);
    server = HttpServer.create(new InetSocketAddress(InetAddress.getLoopbackAddress(), 0), 50);
    server.setExecutor(Executors.newCachedThreadPool(FrontDoor::daemon));
    server.createContext("/", this::handle);
    server.start();
  }

  private static Thread daemon(Runnable work) {
    Thread thread = new Thread(work, "front-door");
    thread.setDaemon(true);
    return thread;
  }

  public void is(Mood now) {
    mood = now;
  }

  public String address() {
    return "http://127.0.0.1:" + server.getAddress().getPort();
  }

  private void handle(HttpExchange exchange) throws IOException {
    Mood now = mood;
    if (now == Mood.SHUT) {
      exchange.close();
      return;
    }
    byte[] body = exchange.getRequestBody().readAllBytes();
    if (now == Mood.BUSY) {
      send(exchange, 503, "{\"error\":\"busy\"}".getBytes(StandardCharsets.UTF_8));
      return;
    }
    HttpResponse<byte[]> answer = passed(exchange, body);
    if (now == Mood.DEAF) {
      exchange.close();
      return;
    }
    answer
        .headers()
        .map()
        .forEach(
            (name, values) -> {
              if (!OURS.contains(name)) {
                exchange.getResponseHeaders().put(name, values);
              }
            });
    send(exchange, answer.statusCode(), answer.body());
  }

  private HttpResponse<byte[]> passed(HttpExchange exchange, byte[] body) throws IOException {
    HttpRequest.Builder request =
        HttpRequest.newBuilder(behind.resolve(exchange.getRequestURI()))
            .method(exchange.getRequestMethod(), HttpRequest.BodyPublishers.ofByteArray(body));
    exchange
        .getRequestHeaders()
        .forEach(
            (name, values) -> {
              if (!OURS.contains(name.toLowerCase(java.util.Locale.ROOT))) {
                values.forEach(value -> request.header(name, value));
              }
            });
    try {
      return http.send(request.build(), HttpResponse.BodyHandlers.ofByteArray());
    } catch (InterruptedException e) {
      Thread.currentThread().interrupt();
      throw new IOException("interrupted", e);
    }
  }

  private static void send(HttpExchange exchange, int status, byte[] body) throws IOException {
    exchange.sendResponseHeaders(status, body.length == 0 ? -1 : body.length);
    if (body.length > 0) {
      exchange.getResponseBody().write(body);
    }
    exchange.close();
  }

  @Override
  public void close() {
    server.stop(0);
  }
}
