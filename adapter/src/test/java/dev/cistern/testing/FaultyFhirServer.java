// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.testing;

import java.io.BufferedInputStream;
import java.io.ByteArrayOutputStream;
import java.io.IOException;
import java.io.InputStream;
import java.io.OutputStream;
import java.io.UncheckedIOException;
import java.net.InetAddress;
import java.net.ServerSocket;
import java.net.Socket;
import java.net.URI;
import java.net.http.HttpClient;
import java.net.http.HttpRequest;
import java.net.http.HttpResponse;
import java.nio.charset.StandardCharsets;
import java.util.ArrayList;
import java.util.Arrays;
import java.util.List;
import java.util.Locale;
import java.util.Map;
import java.util.Queue;
import java.util.TreeMap;
import java.util.concurrent.ConcurrentLinkedQueue;
import java.util.concurrent.CountDownLatch;
import java.util.concurrent.TimeUnit;
import java.util.concurrent.atomic.AtomicInteger;
import java.util.function.Supplier;

/**
 * Stands in front of a FHIR server and spoils what passes: before the server has seen it, or after
 * the server has carried it out, so that the client cannot know which.
 */
public final class FaultyFhirServer implements AutoCloseable {

  /** What happens to one request. */
  public enum Fault {
    NONE(true),
    RESET_BEFORE(false),
    RESET_AFTER(true),
    EMPTY_AFTER(true),
    HANG_BEFORE(false),
    HANG_AFTER(true),
    /** The headers come, then a byte now and then. */
    DRIP_AFTER(true),
    /** The headers come, then bytes without an end. */
    FLOOD_AFTER(true),
    CUT_AFTER(true),
    LOGIN_PAGE_BEFORE(false),
    LOGIN_PAGE_AFTER(true),
    ACCEPTED_BEFORE(false),
    ACCEPTED_AFTER(true),
    UNAVAILABLE_BEFORE(false),
    GATEWAY_TIMEOUT_AFTER(true),
    BROKEN_BEFORE(false),
    BROKEN_AFTER(true),
    CONFLICT_BEFORE(false),
    CONFLICT_AFTER(true),
    TWICE(true);

    private final boolean passes;

    Fault(boolean passes) {
      this.passes = passes;
    }
  }

  private static final int LONGEST_HANG_SECONDS = 30;

  private final ServerSocket door;
  private final URI target;
  private final Supplier<Fault> faults;
  private final HttpClient client =
      HttpClient.newBuilder().version(HttpClient.Version.HTTP_1_1).build();
  private final CountDownLatch closed = new CountDownLatch(1);
  private final AtomicInteger spoilt = new AtomicInteger();
  private final Queue<String> requests = new ConcurrentLinkedQueue<>();

  private FaultyFhirServer(ServerSocket door, URI target, Supplier<Fault> faults) {
    this.door = door;
    this.target = target;
    this.faults = faults;
  }

  /**
   * Opens a door in front of a server.
   *
   * @param target the server's base
   * @param faults asked for each POST that may write; everything else passes as it is
   */
  public static FaultyFhirServer before(URI target, Supplier<Fault> faults) {
    try {
      ServerSocket door = new ServerSocket(0, 50, InetAddress.getLoopbackAddress());
      FaultyFhirServer server = new FaultyFhirServer(door, target, faults);
      server.background(server::listen);
      return server;
    } catch (IOException e) {
      throw new UncheckedIOException(e);
    }
  }

  public URI base() {
    return URI.create("http://127.0.0.1:" + door.getLocalPort() + target.getPath());
  }

  /** How many requests were spoilt. */
  public int spoilt() {
    return spoilt.get();
  }

  /** Every request so far: its method and its address, as access logs keep them. */
  public List<String> requests() {
    return List.copyOf(requests);
  }

  private void background(Runnable work) {
    Thread thread = new Thread(work, "faulty-fhir");
    thread.setDaemon(true);
    thread.start();
  }

  private void listen() {
    while (!door.isClosed()) {
      try {
        Socket socket = door.accept();
        background(() -> serve(socket));
      } catch (IOException e) {
        return; // closed
      }
    }
  }

  private record Request(String method, String path, Map<String, String> headers, byte[] body) {}

  /** One connection, one request. */
  private void serve(Socket socket) {
    try (socket) {
      Request request = read(new BufferedInputStream(socket.getInputStream()));
      if (request == null) {
        return;
      }
      requests.add(request.method() + " " + request.path());
      Fault fault = writes(request) ? faults.get() : Fault.NONE;
      if (fault != Fault.NONE) {
        spoilt.incrementAndGet();
      }
      HttpResponse<byte[]> answer = fault.passes ? pass(request) : null;
      if (fault == Fault.TWICE) {
        answer = pass(request);
      }
      answer(socket, fault, answer);
    } catch (IOException e) {
      // the client has gone
    } catch (InterruptedException e) {
      Thread.currentThread().interrupt();
    }
  }

  /** A batch of reads is posted too. */
  private static boolean writes(Request request) {
    return request.method().equals("POST")
        && !new String(request.body(), StandardCharsets.UTF_8).contains("\"type\":\"batch\"");
  }

  private void answer(
      Socket socket, Fault fault, @org.jspecify.annotations.Nullable HttpResponse<byte[]> answer)
      throws IOException, InterruptedException {
    OutputStream out = socket.getOutputStream();
    switch (fault) {
      case NONE, TWICE -> out.write(whole(answer));
      case RESET_BEFORE, RESET_AFTER -> socket.setSoLinger(true, 0);
      case EMPTY_AFTER -> {}
      case HANG_BEFORE, HANG_AFTER -> closed.await(LONGEST_HANG_SECONDS, TimeUnit.SECONDS);
      case DRIP_AFTER -> drip(out);
      case FLOOD_AFTER -> flood(out);
      case CUT_AFTER -> {
        byte[] bytes = whole(answer);
        out.write(bytes, 0, bytes.length - 40);
      }
      case LOGIN_PAGE_BEFORE, LOGIN_PAGE_AFTER ->
          out.write(made(200, "text/html", "<html><body>Sign in</body></html>"));
      case ACCEPTED_BEFORE, ACCEPTED_AFTER -> out.write(made(202, "text/plain", ""));
      case UNAVAILABLE_BEFORE -> out.write(made(503, "text/plain", "later"));
      case GATEWAY_TIMEOUT_AFTER -> out.write(made(504, "text/plain", "too slow"));
      case BROKEN_BEFORE, BROKEN_AFTER -> out.write(made(500, "text/plain", "oh"));
      case CONFLICT_BEFORE, CONFLICT_AFTER -> out.write(made(409, "text/plain", "busy"));
    }
    out.flush();
  }

  private void drip(OutputStream out) throws IOException, InterruptedException {
    out.write(ascii("HTTP/1.1 200 OK\r\nContent-Type: application/fhir+json\r\n"));
    out.write(ascii("Content-Length: 100000\r\n\r\n"));
    for (int i = 0; i < 10 * LONGEST_HANG_SECONDS; i++) {
      out.write(' ');
      out.flush();
      if (closed.await(100, TimeUnit.MILLISECONDS)) {
        return;
      }
    }
  }

  /** Ends with the exception that a closed connection makes. */
  private void flood(OutputStream out) throws IOException {
    out.write(ascii("HTTP/1.1 200 OK\r\nContent-Type: application/fhir+json\r\n"));
    out.write(ascii("Connection: close\r\n\r\n"));
    byte[] spaces = new byte[8192];
    Arrays.fill(spaces, (byte) ' ');
    while (closed.getCount() > 0) {
      out.write(spaces);
    }
  }

  private HttpResponse<byte[]> pass(Request request) throws IOException, InterruptedException {
    String path = request.path().substring(target.getPath().length());
    HttpRequest.Builder builder =
        HttpRequest.newBuilder(URI.create(target + path))
            .method(request.method(), HttpRequest.BodyPublishers.ofByteArray(request.body()));
    for (String header : List.of("accept", "content-type", "if-match", "if-none-exist")) {
      String value = request.headers().get(header);
      if (value != null) {
        builder.header(header, value);
      }
    }
    return client.send(builder.build(), HttpResponse.BodyHandlers.ofByteArray());
  }

  private static byte[] whole(@org.jspecify.annotations.Nullable HttpResponse<byte[]> answer)
      throws IOException {
    if (answer == null) {
      throw new IllegalStateException("this fault lets nothing pass");
    }
    String type = answer.headers().firstValue("content-type").orElse("text/plain");
    ByteArrayOutputStream bytes = new ByteArrayOutputStream();
    bytes.write(head(answer.statusCode(), type, answer.body().length));
    bytes.write(answer.body());
    return bytes.toByteArray();
  }

  private static byte[] made(int status, String type, String body) throws IOException {
    ByteArrayOutputStream bytes = new ByteArrayOutputStream();
    bytes.write(head(status, type, body.length()));
    bytes.write(ascii(body));
    return bytes.toByteArray();
  }

  private static byte[] head(int status, String type, int length) {
    return ascii(
        "HTTP/1.1 %d Said\r\nContent-Type: %s\r\nContent-Length: %d\r\nConnection: close\r\n\r\n"
            .formatted(status, type, length));
  }

  private static @org.jspecify.annotations.Nullable Request read(InputStream in)
      throws IOException {
    List<String> lines = new ArrayList<>();
    ByteArrayOutputStream line = new ByteArrayOutputStream();
    for (int b = in.read(); ; b = in.read()) {
      if (b < 0) {
        return null;
      }
      if (b != '\n') {
        line.write(b);
        continue;
      }
      String text = line.toString(StandardCharsets.ISO_8859_1).strip();
      line.reset();
      if (text.isEmpty()) {
        break;
      }
      lines.add(text);
    }
    String[] first = lines.get(0).split(" ");
    Map<String, String> headers = new TreeMap<>();
    for (String header : lines.subList(1, lines.size())) {
      int colon = header.indexOf(':');
      headers.put(
          header.substring(0, colon).toLowerCase(Locale.ROOT), header.substring(colon + 1).strip());
    }
    int length = Integer.parseInt(headers.getOrDefault("content-length", "0"));
    return new Request(first[0], first[1], headers, in.readNBytes(length));
  }

  private static byte[] ascii(String text) {
    return text.getBytes(StandardCharsets.US_ASCII);
  }

  @Override
  public void close() {
    closed.countDown();
    try {
      door.close();
    } catch (IOException e) {
      throw new UncheckedIOException(e);
    }
  }
}
