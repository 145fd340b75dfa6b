// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.testing;

import com.nimbusds.jose.JOSEException;
import com.nimbusds.jose.JWSAlgorithm;
import com.nimbusds.jose.JWSHeader;
import com.nimbusds.jose.crypto.RSASSASigner;
import com.nimbusds.jose.jwk.JWKSet;
import com.nimbusds.jose.jwk.RSAKey;
import com.nimbusds.jose.jwk.gen.RSAKeyGenerator;
import com.nimbusds.jwt.JWTClaimsSet;
import com.nimbusds.jwt.SignedJWT;
import com.sun.net.httpserver.HttpExchange;
import com.sun.net.httpserver.HttpHandler;
import com.sun.net.httpserver.HttpServer;
import java.io.IOException;
import java.net.InetAddress;
import java.net.InetSocketAddress;
import java.net.URLDecoder;
import java.nio.charset.StandardCharsets;
import java.security.MessageDigest;
import java.security.NoSuchAlgorithmException;
import java.time.Instant;
import java.util.Base64;
import java.util.Date;
import java.util.List;
import java.util.Map;
import java.util.TreeMap;
import java.util.concurrent.ConcurrentHashMap;
import java.util.concurrent.Executors;
import java.util.concurrent.atomic.AtomicInteger;
import java.util.function.Function;
import java.util.function.UnaryOperator;
import org.jspecify.annotations.Nullable;

/**
 * A small OpenID Connect provider: one person is at the browser, and says yes at once. It holds the
 * adapter to PKCE and to its secret, and lies in its tokens where a test wants it to.
 */
public final class OidcProvider implements AutoCloseable {
  public static final String CLIENT = "cistern-alder-vale";

  private record Asked(String challenge, String nonce, String redirect) {}

  private final HttpServer server;
  private final String secret;
  private final Map<String, Asked> asked = new ConcurrentHashMap<>();
  private final Map<String, HttpHandler> instead = new ConcurrentHashMap<>();
  private final AtomicInteger number = new AtomicInteger();
  private volatile RSAKey key = fresh("first");
  private volatile Map<String, Object> person = Map.of();
  private volatile UnaryOperator<JWTClaimsSet.Builder> twist = claims -> claims;
  private volatile Function<JWTClaimsSet, String> form = this::signed;

  /**
   * @param secret what the adapter has to show at the token endpoint
   */
  public OidcProvider(String secret) throws IOException {
    this.secret = secret;
    server = HttpServer.create(new InetSocketAddress(InetAddress.getLoopbackAddress(), 0), 50);
    server.setExecutor(
        Executors.newCachedThreadPool(
            work -> {
              Thread thread = new Thread(work, "oidc-provider");
              thread.setDaemon(true);
              return thread;
            }));
    on("/.well-known/openid-configuration", this::discovery);
    on("/keys", e -> json(e, 200, new JWKSet(key.toPublicJWK()).toString()));
    on("/authorize", this::authorize);
    on("/token", this::token);
    server.start();
  }

  private void on(String path, HttpHandler right) {
    server.createContext(path, exchange -> instead.getOrDefault(path, right).handle(exchange));
  }

  /** Answers at a path in this way from now on. */
  public void instead(String path, HttpHandler other) {
    instead.put(path, other);
  }

  /** Answers everywhere as it should again. */
  public void asItShould() {
    instead.clear();
  }

  /** An answer of this status with this body, whatever was asked. */
  public static HttpHandler answering(int status, String body) {
    return exchange -> json(exchange, status, body);
  }

  public static RSAKey fresh(String id) {
    try {
      return new RSAKeyGenerator(2048).keyID(id).algorithm(JWSAlgorithm.RS256).generate();
    } catch (JOSEException e) {
      throw new IllegalStateException(e);
    }
  }

  public String issuer() {
    return "http://127.0.0.1:" + server.getAddress().getPort();
  }

  /** Who is at the browser from now on; the tokens tell the truth again. */
  public void at(String subject, String name, List<String> groups) {
    person = Map.of("sub", subject, "preferred_username", name, "groups", groups);
    twist = claims -> claims;
    form = this::signed;
  }

  /** Changes what the next tokens say. */
  public void says(UnaryOperator<JWTClaimsSet.Builder> change) {
    twist = change;
  }

  /** Changes how the next tokens are made of what they say. */
  public void writes(Function<JWTClaimsSet, String> how) {
    form = how;
  }

  /** Signs with another key from now on, and shows that one only. */
  public void rotate() {
    key = fresh("key-" + number.incrementAndGet());
  }

  private String signed(JWTClaimsSet claims) {
    return signed(claims, key);
  }

  public static String signed(JWTClaimsSet claims, RSAKey with) {
    try {
      SignedJWT token =
          new SignedJWT(
              new JWSHeader.Builder(JWSAlgorithm.RS256).keyID(with.getKeyID()).build(), claims);
      token.sign(new RSASSASigner(with));
      return token.serialize();
    } catch (JOSEException e) {
      throw new IllegalStateException(e);
    }
  }

  /** The key that it shows now, also to lie about whose it is. */
  public RSAKey key() {
    return key;
  }

  private void discovery(HttpExchange exchange) throws IOException {
    json(
        exchange,
        200,
        """
        {"issuer":"%1$s","authorization_endpoint":"%1$s/authorize","token_endpoint":"%1$s/token",
        "jwks_uri":"%1$s/keys","response_types_supported":["code"],"subject_types_supported":["public"],
        "id_token_signing_alg_values_supported":["RS256"]}"""
            .formatted(issuer()));
  }

  private void authorize(HttpExchange exchange) throws IOException {
    Map<String, String> query = fields(exchange.getRequestURI().getRawQuery());
    boolean right =
        "code".equals(query.get("response_type"))
            && "S256".equals(query.get("code_challenge_method"))
            && CLIENT.equals(query.get("client_id"))
            && query.getOrDefault("scope", "").contains("openid");
    String code = "code-" + number.incrementAndGet();
    asked.put(
        code,
        new Asked(
            query.getOrDefault("code_challenge", ""),
            query.getOrDefault("nonce", ""),
            query.getOrDefault("redirect_uri", "")));
    String outcome = right ? "code=" + code : "error=invalid_request";
    exchange
        .getResponseHeaders()
        .set(
            "Location", query.get("redirect_uri") + "?" + outcome + "&state=" + query.get("state"));
    exchange.sendResponseHeaders(302, -1);
    exchange.close();
  }

  private void token(HttpExchange exchange) throws IOException {
    Map<String, String> fields =
        fields(new String(exchange.getRequestBody().readAllBytes(), StandardCharsets.UTF_8));
    Asked first = asked.remove(fields.getOrDefault("code", ""));
    if (first == null
        || !first.redirect().equals(fields.get("redirect_uri"))
        || !first.challenge().equals(challenge(fields.getOrDefault("code_verifier", "")))
        || !isClient(exchange.getRequestHeaders().getFirst("Authorization"))) {
      json(exchange, 400, "{\"error\":\"invalid_grant\"}");
      return;
    }
    Instant now = Instant.now();
    JWTClaimsSet.Builder claims =
        new JWTClaimsSet.Builder()
            .issuer(issuer())
            .audience(CLIENT)
            .issueTime(Date.from(now))
            .expirationTime(Date.from(now.plusSeconds(300)))
            .claim("nonce", first.nonce());
    person.forEach(claims::claim);
    json(
        exchange,
        200,
        "{\"access_token\":\"of-no-use\",\"token_type\":\"Bearer\",\"id_token\":\"%s\"}"
            .formatted(form.apply(twist.apply(claims).build())));
  }

  private boolean isClient(@Nullable String header) {
    if (header == null || !header.startsWith("Basic ")) {
      return false;
    }
    String text =
        new String(Base64.getDecoder().decode(header.substring(6)), StandardCharsets.UTF_8);
    return URLDecoder.decode(text, StandardCharsets.UTF_8).equals(CLIENT + ":" + secret);
  }

  private static String challenge(String verifier) {
    try {
      return Base64.getUrlEncoder()
          .withoutPadding()
          .encodeToString(
              MessageDigest.getInstance("SHA-256")
                  .digest(verifier.getBytes(StandardCharsets.US_ASCII)));
    } catch (NoSuchAlgorithmException e) {
      throw new IllegalStateException(e);
    }
  }

  private static Map<String, String> fields(String text) {
    Map<String, String> fields = new TreeMap<>();
    for (String field : text.split("&")) {
      int at = field.indexOf('=');
      fields.put(
          field.substring(0, at),
          URLDecoder.decode(field.substring(at + 1), StandardCharsets.UTF_8));
    }
    return fields;
  }

  private static void json(HttpExchange exchange, int status, String text) throws IOException {
    byte[] bytes = text.getBytes(StandardCharsets.UTF_8);
    exchange.getResponseHeaders().set("Content-Type", "application/json");
    exchange.sendResponseHeaders(status, bytes.length);
    exchange.getResponseBody().write(bytes);
    exchange.close();
  }

  @Override
  public void close() {
    server.stop(0);
  }
}
