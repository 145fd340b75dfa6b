// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.testing;

import com.nimbusds.jose.JOSEException;
import com.nimbusds.jose.JWSVerifier;
import com.nimbusds.jose.crypto.ECDSAVerifier;
import com.nimbusds.jose.crypto.RSASSAVerifier;
import com.nimbusds.jwt.SignedJWT;
import com.sun.net.httpserver.HttpExchange;
import com.sun.net.httpserver.HttpServer;
import java.io.IOException;
import java.net.InetAddress;
import java.net.InetSocketAddress;
import java.net.URI;
import java.net.URLDecoder;
import java.nio.charset.StandardCharsets;
import java.security.PublicKey;
import java.security.interfaces.ECPublicKey;
import java.security.interfaces.RSAPublicKey;
import java.text.ParseException;
import java.util.List;
import java.util.Map;
import java.util.TreeMap;
import java.util.concurrent.ConcurrentHashMap;
import java.util.concurrent.CopyOnWriteArrayList;
import java.util.concurrent.Executors;
import java.util.concurrent.atomic.AtomicInteger;
import org.jspecify.annotations.Nullable;

/** Gives tokens to those whose signature it knows, and says under /fhir where it does. */
public final class TokenServer implements AutoCloseable {
  private final HttpServer server;
  private final Map<String, PublicKey> keys = new ConcurrentHashMap<>();
  private final List<Map<String, String>> forms = new CopyOnWriteArrayList<>();
  private final List<SignedJWT> assertions = new CopyOnWriteArrayList<>();
  private final List<String> shown = new CopyOnWriteArrayList<>();
  private final List<String> gone = new CopyOnWriteArrayList<>();
  private final AtomicInteger given = new AtomicInteger();
  private volatile int status = 200;
  private volatile @Nullable String body;
  private volatile int expiresIn = 300;
  private volatile int refusals;
  private volatile boolean discoverable = true;

  public TokenServer() throws IOException {
    server = HttpServer.create(new InetSocketAddress(InetAddress.getLoopbackAddress(), 0), 50);
    server.setExecutor(Executors.newCachedThreadPool(TokenServer::daemon));
    server.createContext("/token", this::token);
    server.createContext("/fhir", this::fhir);
    server.start();
  }

  private static Thread daemon(Runnable work) {
    Thread thread = new Thread(work, "token-server");
    thread.setDaemon(true);
    return thread;
  }

  public TokenServer knows(String keyId, PublicKey key) {
    keys.put(keyId, key);
    return this;
  }

  /** From now on everybody gets this answer. */
  public TokenServer answers(int code, @Nullable String text) {
    status = code;
    body = text;
    return this;
  }

  public TokenServer expiresIn(int seconds) {
    expiresIn = seconds;
    return this;
  }

  /** So many requests under /fhir are answered with 401 from now on. */
  public TokenServer refuses(int requests) {
    refusals = requests;
    return this;
  }

  /** Every request under /fhir that shows this token is answered with 401 from now on. */
  public TokenServer withdraws(String withdrawn) {
    gone.add("Bearer " + withdrawn);
    return this;
  }

  public TokenServer undiscoverable() {
    discoverable = false;
    return this;
  }

  public URI base() {
    return at("/fhir");
  }

  public URI tokenUrl() {
    return at("/token");
  }

  private URI at(String path) {
    return URI.create("http://127.0.0.1:" + server.getAddress().getPort() + path);
  }

  /** What was posted to the token endpoint. */
  public List<Map<String, String>> forms() {
    return List.copyOf(forms);
  }

  /** Every assertion whose signature was right. */
  public List<SignedJWT> assertions() {
    return List.copyOf(assertions);
  }

  /** The Authorization header of every request under /fhir. */
  public List<String> shown() {
    return List.copyOf(shown);
  }

  private void token(HttpExchange exchange) throws IOException {
    Map<String, String> form = form(exchange);
    forms.add(form);
    String text = body;
    if (status != 200 || text != null) {
      send(exchange, status, text == null ? "" : text);
    } else if (!verified(form)) {
      send(exchange, 401, "{\"error\":\"invalid_client\",\"error_description\":\"who?\"}");
    } else {
      send(
          exchange,
          200,
          "{\"access_token\":\"token-%d\",\"token_type\":\"bearer\",\"expires_in\":%d}"
              .formatted(given.incrementAndGet(), expiresIn));
    }
  }

  private boolean verified(Map<String, String> form) {
    try {
      SignedJWT assertion = SignedJWT.parse(form.getOrDefault("client_assertion", ""));
      PublicKey key = keys.get(String.valueOf(assertion.getHeader().getKeyID()));
      if (key == null) {
        return false;
      }
      JWSVerifier verifier =
          key instanceof RSAPublicKey rsa
              ? new RSASSAVerifier(rsa)
              : new ECDSAVerifier((ECPublicKey) key);
      boolean right = assertion.verify(verifier);
      if (right) {
        assertions.add(assertion);
      }
      return right;
    } catch (ParseException | JOSEException e) {
      return false;
    }
  }

  private static Map<String, String> form(HttpExchange exchange) throws IOException {
    Map<String, String> form = new TreeMap<>();
    String text = new String(exchange.getRequestBody().readAllBytes(), StandardCharsets.UTF_8);
    for (String field : text.split("&")) {
      int at = field.indexOf('=');
      form.put(
          field.substring(0, at),
          URLDecoder.decode(field.substring(at + 1), StandardCharsets.UTF_8));
    }
    return form;
  }

  private void fhir(HttpExchange exchange) throws IOException {
    exchange.getRequestBody().readAllBytes();
    if (exchange.getRequestURI().getPath().endsWith("/.well-known/smart-configuration")) {
      send(
          exchange,
          discoverable ? 200 : 404,
          discoverable ? "{\"token_endpoint\":\"" + tokenUrl() + "\"}" : "");
      return;
    }
    String header = String.valueOf(exchange.getRequestHeaders().getFirst("Authorization"));
    shown.add(header);
    if (gone.contains(header)) {
      send(exchange, 401, "");
    } else if (refusals > 0) {
      refusals--;
      send(exchange, 401, "");
    } else {
      send(exchange, 200, "{}");
    }
  }

  private static void send(HttpExchange exchange, int code, String text) throws IOException {
    byte[] bytes = text.getBytes(StandardCharsets.UTF_8);
    exchange.sendResponseHeaders(code, bytes.length == 0 ? -1 : bytes.length);
    if (bytes.length > 0) {
      exchange.getResponseBody().write(bytes);
    }
    exchange.close();
  }

  @Override
  public void close() {
    server.stop(0);
  }
}
