// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import com.sun.net.httpserver.HttpExchange;
import com.sun.net.httpserver.HttpServer;
import dev.cistern.json.Json;
import java.io.IOException;
import java.net.InetSocketAddress;
import java.net.URI;
import java.net.http.HttpClient;
import java.net.http.HttpRequest;
import java.net.http.HttpResponse;
import java.nio.charset.StandardCharsets;
import java.util.List;
import java.util.Queue;
import java.util.Set;
import java.util.concurrent.ConcurrentLinkedQueue;
import java.util.concurrent.Executors;
import java.util.regex.Pattern;

/**
 * Stands in front of a FHIR server and notes each address, and answers writes with everything that
 * they held where it is told to: as servers do that quote what they refuse.
 */
final class EchoingServer implements AutoCloseable {
  /** How writes are answered. */
  enum Mode {
    PASS(200),
    REFUSE(422),
    REFUSE_AS_PAGE(400),
    BREAK(500),
    SHUT_OUT(401);

    private final int status;

    Mode(int status) {
      this.status = status;
    }
  }

  private static final Pattern HELD_BACK = Pattern.compile("(?i)connection|content-length|host");
  private static final Set<String> READING = Set.of("GET", "HEAD");

  private final HttpServer door;
  private final URI target;
  private final HttpClient client = HttpClient.newHttpClient();
  private final Queue<String> addresses = new ConcurrentLinkedQueue<>();
  private volatile Mode mode = Mode.PASS;

  private EchoingServer(HttpServer door, URI target) {
    this.door = door;
    this.target = target;
  }

  static EchoingServer before(URI target) throws IOException {
    HttpServer door = HttpServer.create(new InetSocketAddress("127.0.0.1", 0), 50);
    EchoingServer server = new EchoingServer(door, target);
    door.createContext("/", server::answer);
    door.setExecutor(Executors.newCachedThreadPool());
    door.start();
    return server;
  }

  URI base() {
    return URI.create("http://127.0.0.1:" + door.getAddress().getPort() + target.getPath());
  }

  void answering(Mode from) {
    mode = from;
  }

  /** Every address that was asked for, as access logs keep them. */
  List<String> addresses() {
    return List.copyOf(addresses);
  }

  private void answer(HttpExchange exchange) throws IOException {
    try (exchange) {
      URI asked = exchange.getRequestURI();
      addresses.add(exchange.getRequestMethod() + " " + asked);
      byte[] body = exchange.getRequestBody().readAllBytes();
      boolean search = asked.getPath().endsWith("_search");
      if (mode == Mode.PASS || search || READING.contains(exchange.getRequestMethod())) {
        pass(exchange, body);
      } else {
        echo(exchange, new String(body, StandardCharsets.UTF_8));
      }
    }
  }

  private void echo(HttpExchange exchange, String body) throws IOException {
    boolean page = mode == Mode.REFUSE_AS_PAGE;
    String quoted = "Cannot take this: " + body;
    String answer =
        page
            ? "<html><title>" + quoted + "</title>" + quoted + "</html>"
            : Json.text(
                out -> {
                  out.writeStartObject();
                  out.writeStringField("resourceType", "OperationOutcome");
                  out.writeArrayFieldStart("issue");
                  out.writeStartObject();
                  out.writeStringField("severity", "error");
                  out.writeStringField("code", "invalid");
                  out.writeStringField("diagnostics", quoted);
                  out.writeObjectFieldStart("details");
                  out.writeStringField("text", quoted);
                  out.writeEndObject();
                  out.writeEndObject();
                  out.writeEndArray();
                  out.writeEndObject();
                });
    exchange
        .getResponseHeaders()
        .add("Content-Type", page ? "text/html" : "application/fhir+json; charset=UTF-8");
    send(exchange, mode.status, answer.getBytes(StandardCharsets.UTF_8));
  }

  private void pass(HttpExchange exchange, byte[] body) throws IOException {
    HttpRequest.Builder request =
        HttpRequest.newBuilder(target.resolve(exchange.getRequestURI().toString()))
            .method(exchange.getRequestMethod(), HttpRequest.BodyPublishers.ofByteArray(body));
    exchange
        .getRequestHeaders()
        .forEach(
            (name, values) -> {
              if (!HELD_BACK.matcher(name).matches()
                  && !name.startsWith("Http2")
                  && !name.equalsIgnoreCase("Upgrade")) {
                values.forEach(value -> request.header(name, value));
              }
            });
    try {
      HttpResponse<byte[]> answer =
          client.send(request.build(), HttpResponse.BodyHandlers.ofByteArray());
      answer
          .headers()
          .map()
          .forEach(
              (name, values) -> {
                if (!HELD_BACK.matcher(name).matches()
                    && !name.equalsIgnoreCase("Transfer-Encoding")) {
                  values.forEach(value -> exchange.getResponseHeaders().add(name, value));
                }
              });
      send(exchange, answer.statusCode(), answer.body());
    } catch (InterruptedException e) {
      Thread.currentThread().interrupt();
    }
  }

  private static void send(HttpExchange exchange, int status, byte[] body) throws IOException {
    exchange.sendResponseHeaders(status, body.length == 0 ? -1 : body.length);
    if (body.length > 0) {
      exchange.getResponseBody().write(body);
    }
  }

  @Override
  public void close() {
    door.stop(0);
  }
}
