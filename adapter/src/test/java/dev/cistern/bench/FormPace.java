// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bench;

import java.net.URI;
import java.net.http.HttpClient;
import java.net.http.HttpRequest;
import java.net.http.HttpResponse;
import java.nio.file.Path;
import java.sql.Connection;
import java.sql.DriverManager;
import java.sql.PreparedStatement;
import java.sql.SQLException;
import java.sql.Statement;
import java.time.OffsetDateTime;
import java.time.temporal.ChronoUnit;
import java.util.ArrayList;
import java.util.Collections;
import java.util.List;
import java.util.Locale;
import java.util.concurrent.CompletableFuture;
import java.util.concurrent.TimeUnit;
import java.util.concurrent.locks.LockSupport;

/**
 * Posts forms at a steady pace and measures each from its due time to its answer: a slow answer
 * delays no later post, and its delay is not hidden. Beside it: what a bare synced commit of SQLite
 * takes on the same disk.
 */
final class FormPace {
  private static final int COMMITS = 200;

  private final HttpClient http =
      HttpClient.newBuilder().version(HttpClient.Version.HTTP_1_1).build();
  private final URI form;

  FormPace(URI form) {
    this.form = form;
  }

  /** How long each took, in milliseconds, in ascending order. */
  static double part(List<Double> sorted, double part) {
    return sorted.get(Math.min(sorted.size() - 1, (int) (sorted.size() * part)));
  }

  /**
   * @param from the number of the first post, so that no two runs post the same exam
   */
  List<Double> post(int perSecond, int seconds, int from) throws Exception {
    List<CompletableFuture<Double>> all = new ArrayList<>();
    long pause = TimeUnit.SECONDS.toNanos(1) / perSecond;
    long began = System.nanoTime();
    for (int i = 0; i < perSecond * seconds; i++) {
      long due = began + i * pause;
      while (System.nanoTime() < due) {
        LockSupport.parkNanos(due - System.nanoTime());
      }
      all.add(
          http.sendAsync(request(from + i), HttpResponse.BodyHandlers.ofString())
              .thenApply(answer -> taken(answer, due)));
    }
    List<Double> took = new ArrayList<>();
    for (CompletableFuture<Double> each : all) {
      took.add(each.get(1, TimeUnit.MINUTES));
    }
    Collections.sort(took);
    return took;
  }

  private static double taken(HttpResponse<String> answer, long due) {
    if (answer.statusCode() != 201) {
      throw new IllegalStateException("a form post is answered " + answer.statusCode());
    }
    return (System.nanoTime() - due) / 1e6;
  }

  private HttpRequest request(int number) {
    OffsetDateTime now =
        OffsetDateTime.now(java.time.ZoneOffset.UTC).truncatedTo(ChronoUnit.SECONDS);
    String body =
        String.format(
            Locale.ROOT,
            "patient=%s&measured=%s&volume=%d&purpose=pre-void&scanner=AV-9%03d&exam=%d&setting=uterus-absent"
                + "&operator=N0001&idempotencyKey=pace-%d",
            Rows.number(number % Rows.PATIENTS),
            now.minusMinutes(5).toString().replace("+", "%2B"),
            100 + number % 400,
            number % 40,
            number / 40 + 1,
            number);
    return HttpRequest.newBuilder(form)
        .header("Content-Type", "application/x-www-form-urlencoded")
        .POST(HttpRequest.BodyPublishers.ofString(body))
        .build();
  }

  /** What one small synced commit takes at the least, in milliseconds, in ascending order. */
  static List<Double> bareCommits(Path folder) throws SQLException {
    List<Double> took = new ArrayList<>();
    try (Connection connection =
            DriverManager.getConnection("jdbc:sqlite:" + folder.resolve("bare.db"));
        Statement statement = connection.createStatement()) {
      statement.execute("PRAGMA journal_mode = WAL");
      statement.execute("PRAGMA synchronous = FULL");
      statement.execute("CREATE TABLE IF NOT EXISTS bare (id INTEGER PRIMARY KEY, text TEXT)");
      try (PreparedStatement insert =
          connection.prepareStatement("INSERT INTO bare (text) VALUES (?)")) {
        for (int i = 0; i < COMMITS; i++) {
          insert.setString(1, "x".repeat(500));
          long began = System.nanoTime();
          insert.executeUpdate();
          took.add((System.nanoTime() - began) / 1e6);
        }
      }
    }
    Collections.sort(took);
    return took;
  }
}
