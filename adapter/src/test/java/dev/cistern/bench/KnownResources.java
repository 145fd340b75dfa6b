// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bench;

import com.fasterxml.jackson.core.JsonFactory;
import com.fasterxml.jackson.core.JsonParser;
import com.fasterxml.jackson.core.JsonToken;
import java.io.IOException;
import java.util.concurrent.ConcurrentHashMap;
import java.util.concurrent.atomic.AtomicLong;
import org.jspecify.annotations.Nullable;

/** The names of the resources that were written, and how often each was. */
final class KnownResources {

  /**
   * What a write came to.
   *
   * @param isNew whether it made the resource
   */
  record Written(String id, int version, boolean isNew) {}

  private final JsonFactory json;
  private final ConcurrentHashMap<String, Written> named = new ConcurrentHashMap<>();
  private final AtomicLong numbers = new AtomicLong();
  private final AtomicLong observations = new AtomicLong();
  private final AtomicLong all = new AtomicLong();

  KnownResources(JsonFactory json) {
    this.json = json;
  }

  long observations() {
    return observations.get();
  }

  long all() {
    return all.get();
  }

  /**
   * Reads a resource to its end, as a server must, and notes it.
   *
   * @param name what it is the same by: {@code Type/id}, a condition, or nothing
   */
  Written write(String type, @Nullable String name, byte[] body) throws IOException {
    try (JsonParser parser = json.createParser(body)) {
      while (parser.nextToken() != null) {
        // Only whether it is JSON.
      }
    }
    return write(type, name);
  }

  private Written write(String type, @Nullable String name) {
    String id =
        name != null && name.startsWith(type + "/")
            ? name.substring(type.length() + 1)
            : Long.toString(numbers.incrementAndGet());
    Written written =
        name == null
            ? new Written(id, 1, true)
            : named.compute(
                name,
                (key, before) ->
                    before == null
                        ? new Written(id, 1, true)
                        : new Written(before.id(), before.version() + 1, false));
    if (written.isNew()) {
      all.incrementAndGet();
      if (type.equals("Observation")) {
        observations.incrementAndGet();
      }
    }
    return written;
  }

  /**
   * Carries a transaction or a batch of reads out; its answer has a line for each entry, in their
   * order.
   */
  String transaction(byte[] body) throws IOException {
    StringBuilder answer =
        new StringBuilder(body.length / 4)
            .append("{\"resourceType\":\"Bundle\",\"type\":\"transaction-response\",\"entry\":[");
    try (JsonParser parser = json.createParser(body)) {
      String comma = "";
      while (parser.nextToken() != null) {
        if (parser.currentToken() == JsonToken.FIELD_NAME
            && parser.currentName().equals("request")) {
          parser.nextToken();
          answer.append(comma).append(line(parser));
          comma = ",";
        }
      }
    }
    return answer.append("]}").toString();
  }

  private String line(JsonParser request) throws IOException {
    String url = "";
    String condition = null;
    String method = "";
    while (request.nextToken() != JsonToken.END_OBJECT) {
      String field = request.currentName();
      request.nextToken();
      switch (field) {
        case "method" -> method = request.getText();
        case "url" -> url = request.getText();
        case "ifNoneExist" -> condition = request.getText();
        default -> {}
      }
    }
    if (method.equals("GET")) {
      return read(url);
    }
    String type = url.replaceFirst("/.*", "");
    Written written = write(type, url.contains("/") ? url : condition);
    return "{\"response\":{\"status\":\""
        + (written.isNew() ? "201 Created" : "200 OK")
        + "\",\"location\":\""
        + type
        + "/"
        + written.id()
        + "/_history/"
        + written.version()
        + "\",\"etag\":\"W/\\\""
        + written.version()
        + "\\\"\"}}";
  }

  /** It keeps names only: what would have to show a resource shows that the bench is wrong. */
  private String read(String url) {
    if (url.contains("?")) {
      for (String token : url.substring(url.indexOf('=') + 1).split("[,&]")) {
        requireNew(url.substring(0, url.indexOf('?') + 1) + "identifier=" + token);
      }
      return "{\"resource\":" + Fixed.EMPTY + ",\"response\":{\"status\":\"200 OK\"}}";
    }
    requireNew(url);
    return "{\"response\":{\"status\":\"404 Not Found\",\"outcome\":{\"resourceType\":\"OperationOutcome\","
        + "\"issue\":[{\"severity\":\"error\",\"code\":\"processing\",\"diagnostics\":\"Resource "
        + url
        + " is not known\"}]}}}";
  }

  private void requireNew(String name) {
    if (named.containsKey(name)) {
      throw new IllegalStateException("a result that was written is asked for: " + name);
    }
  }
}
