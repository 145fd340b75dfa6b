// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bench;

import com.fasterxml.jackson.core.JsonFactory;
import com.sun.net.httpserver.HttpExchange;
import com.sun.net.httpserver.HttpServer;
import java.io.IOException;
import java.io.OutputStream;
import java.net.InetAddress;
import java.net.InetSocketAddress;
import java.nio.charset.StandardCharsets;
import java.util.concurrent.CountDownLatch;
import java.util.concurrent.Executors;
import java.util.concurrent.atomic.AtomicLong;

/**
 * A FHIR server in a process of its own that keeps nothing but names and counts: it reads each
 * request whole, answers as a server that stores would, and costs little. Prints its address, and
 * stops when its standard input ends. {@code GET /counts} gives Observations, all resources, and
 * requests.
 */
final class CountingServer {
  private static final int THREADS = 16;

  private final KnownResources known = new KnownResources(new JsonFactory());
  private final AtomicLong requests = new AtomicLong();

  private CountingServer() {}

  public static void main(String[] arguments) throws Exception {
    // Else each answer waits for the acknowledgement of its own head.
    System.setProperty("sun.net.httpserver.nodelay", "true");
    CountingServer counting = new CountingServer();
    HttpServer server =
        HttpServer.create(new InetSocketAddress(InetAddress.getLoopbackAddress(), 0), 256);
    server.setExecutor(Executors.newFixedThreadPool(THREADS));
    server.createContext("/fhir", counting::answer);
    server.createContext("/counts", counting::counts);
    server.start();
    System.out.println("http://127.0.0.1:" + server.getAddress().getPort() + "/fhir");
    new CountDownLatch(System.in.read() < 0 ? 0 : 1).await();
    server.stop(0);
    System.exit(0);
  }

  private void counts(HttpExchange exchange) throws IOException {
    send(
        exchange, 200, known.observations() + " " + known.all() + " " + requests.get(), null, null);
  }

  private void answer(HttpExchange exchange) throws IOException {
    requests.incrementAndGet();
    byte[] body = exchange.getRequestBody().readAllBytes();
    String path = exchange.getRequestURI().getPath().replaceFirst("^/fhir/?", "");
    switch (exchange.getRequestMethod()) {
      case "GET" -> send(exchange, 200, path.equals("metadata") ? Fixed.METADATA : Fixed.EMPTY);
      case "POST" -> post(exchange, path, body);
      case "PUT" -> single(exchange, path, body, path);
      default -> send(exchange, 405, Fixed.EMPTY);
    }
  }

  private void post(HttpExchange exchange, String path, byte[] body) throws IOException {
    if (path.isEmpty()) {
      send(exchange, 200, known.transaction(body));
    } else if (path.endsWith("/_search")) {
      send(exchange, 200, Fixed.patients(new String(body, StandardCharsets.UTF_8)));
    } else {
      String condition = exchange.getRequestHeaders().getFirst("If-None-Exist");
      single(exchange, path, body, condition);
    }
  }

  /** Answers with what was sent, and its id, but for a client that asks for less. */
  private void single(
      HttpExchange exchange,
      String path,
      byte[] body,
      @org.jspecify.annotations.Nullable String name)
      throws IOException {
    String type = path.replaceFirst("/.*", "");
    KnownResources.Written written = known.write(type, name, body);
    String location = type + "/" + written.id() + "/_history/" + written.version();
    String prefer = exchange.getRequestHeaders().getFirst("Prefer");
    String text =
        prefer != null && prefer.contains("minimal")
            ? ""
            : new String(body, StandardCharsets.UTF_8)
                .replaceFirst("\\{", "{\"id\":\"" + written.id() + "\",");
    send(exchange, written.isNew() ? 201 : 200, text, location, "W/\"" + written.version() + "\"");
  }

  private static void send(HttpExchange exchange, int status, String text) throws IOException {
    send(exchange, status, text, null, null);
  }

  private static void send(
      HttpExchange exchange,
      int status,
      String text,
      @org.jspecify.annotations.Nullable String location,
      @org.jspecify.annotations.Nullable String etag)
      throws IOException {
    exchange.getResponseHeaders().set("Content-Type", "application/fhir+json;charset=UTF-8");
    if (location != null) {
      String host = exchange.getRequestHeaders().getFirst("Host");
      exchange.getResponseHeaders().set("Location", "http://" + host + "/fhir/" + location);
    }
    if (etag != null) {
      exchange.getResponseHeaders().set("ETag", etag);
    }
    byte[] bytes = text.getBytes(StandardCharsets.UTF_8);
    exchange.sendResponseHeaders(status, bytes.length == 0 ? -1 : bytes.length);
    try (OutputStream out = exchange.getResponseBody()) {
      out.write(bytes);
    }
  }
}
