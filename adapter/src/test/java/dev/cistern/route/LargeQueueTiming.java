// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.ledger.Entry;
import dev.cistern.ledger.Queue;
import dev.cistern.ledger.Role;
import java.io.IOException;
import java.net.URI;
import java.net.URLEncoder;
import java.net.http.HttpClient;
import java.net.http.HttpRequest;
import java.net.http.HttpResponse;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.Collections;
import java.util.Comparator;
import java.util.List;
import java.util.regex.Matcher;
import java.util.regex.Pattern;
import java.util.stream.Stream;

/**
 * Measures how long the console's pages take with a large queue. Not a test: the figures depend on
 * the machine. DEVELOPERS.md says how to run it.
 */
final class LargeQueueTiming {
  private static final int TIMES = 15;
  private static final HttpClient HTTP = HttpClient.newHttpClient();

  private LargeQueueTiming() {}

  /**
   * @param arguments how many rejected entries; 100000 else
   */
  public static void main(String[] arguments) throws Exception {
    int entries = arguments.length == 0 ? 100_000 : Integer.parseInt(arguments[0]);
    Path folder = Files.createTempDirectory("cistern-large-queue");
    try (Site site = Site.start(folder)) {
      AccessTest.account(site.plant, "a.ash", Role.VIEW, Role.OPERATE, Role.AUDIT, Role.MAP);
      fill(site, entries);
      measure(site);
    } finally {
      try (Stream<Path> all = Files.walk(folder)) {
        for (Path each : all.sorted(Comparator.reverseOrder()).toList()) {
          Files.delete(each);
        }
      }
    }
  }

  /** Files of 10,000 rows without a unit, through the folder as in earnest. */
  private static void fill(Site site, int entries) throws Exception {
    long began = System.nanoTime();
    for (int from = 0; from < entries; from += 10_000) {
      StringBuilder text =
          new StringBuilder(
              "PatNo;Date;Time;Vol;Unit;Kind;LastVoid;Voided;Set;Serial;ExamNo;User\n");
      for (int i = from; i < Math.min(from + 10_000, entries); i++) {
        text.append(
            "9990000018;14.03.2026;09:05:00;%d;;PRE;;;F;AV-%04d;%05d;N4471\n"
                .formatted(i % 900 + 10, i % 40, i / 40));
      }
      site.drop("elm-ward-export", "day-" + from + ".csv", text.toString());
    }
    Queue queue = site.plant.ledger().queue();
    while (queue.count(Queue.Filter.ALL, entries) < entries) {
      Thread.sleep(500);
    }
    System.out.printf(
        "%,d rejected entries, received and refined in %,d s%n",
        entries, (System.nanoTime() - began) / 1_000_000_000);
  }

  private static void measure(Site site) throws Exception {
    String cookie = signIn(site);
    Queue queue = site.plant.ledger().queue();
    List<Entry> some = queue.page(Queue.Filter.ALL, Queue.Place.START, 1);
    long middle = some.get(0).id() + 7;
    List<String> paths =
        List.of(
            "/",
            "/?span=fortnight",
            "/rejected",
            "/rejected?behind=455." + middle,
            "/rejected?source=elm-ward-export&behind=20.1",
            "/rejected?code=unit-missing&urgent=1",
            "/rejected?source=elm-ward-export&code=unit-missing&behind=455.1",
            "/rejected?since=2199-01-01",
            "/entry/" + middle,
            "/reconcile",
            "/trail",
            "/trail?entry=" + middle,
            "/trail?actor=account+nobody",
            "/mappings",
            "/mappings/elm-ward-export");
    System.out.println(
        "| page | median, ms | slowest, ms | size, kB |\n| --- | ---: | ---: | ---: |");
    for (String path : paths) {
      row(site, cookie, path);
    }
    String page = get(site, cookie, "/trail").body();
    Matcher check = Pattern.compile("name=\"check\" value=\"([^\"]+)\"").matcher(page);
    if (check.find()) {
      for (String path : List.of("/trail", "/reconcile")) {
        long began = System.nanoTime();
        HttpResponse<String> proved =
            HTTP.send(
                to(site, cookie, path)
                    .header("Content-Type", Site.TYPE)
                    .POST(HttpRequest.BodyPublishers.ofString("check=" + check.group(1)))
                    .build(),
                HttpResponse.BodyHandlers.ofString());
        System.out.printf(
            "| the proof of %s, on demand | %,d | | %,d |%n",
            path, (System.nanoTime() - began) / 1_000_000, proved.body().length() / 1_000);
      }
    }
  }

  private static void row(Site site, String cookie, String path) throws Exception {
    List<Long> took = new ArrayList<>();
    int size = 0;
    for (int i = 0; i < TIMES; i++) {
      long began = System.nanoTime();
      HttpResponse<String> page = get(site, cookie, path);
      took.add((System.nanoTime() - began) / 1_000_000);
      size = page.body().length();
      if (page.statusCode() != 200) {
        throw new IllegalStateException(path + " answers " + page.statusCode());
      }
    }
    Collections.sort(took);
    System.out.printf(
        "| `%s` | %,d | %,d | %,d |%n",
        path, took.get(TIMES / 2), took.get(TIMES - 1), size / 1_000);
  }

  private static HttpResponse<String> get(Site site, String cookie, String path)
      throws IOException, InterruptedException {
    return HTTP.send(to(site, cookie, path).build(), HttpResponse.BodyHandlers.ofString());
  }

  private static HttpRequest.Builder to(Site site, String cookie, String path) {
    return HttpRequest.newBuilder(URI.create(site.adapter.address() + path))
        .header("Cookie", cookie);
  }

  private static String signIn(Site site) throws IOException, InterruptedException {
    HttpResponse<String> in =
        HTTP.send(
            HttpRequest.newBuilder(URI.create(site.adapter.address() + "/sign-in"))
                .header("Content-Type", Site.TYPE)
                .POST(
                    HttpRequest.BodyPublishers.ofString(
                        "name=a.ash&password="
                            + URLEncoder.encode(
                                "five herons over the weir", StandardCharsets.UTF_8)))
                .build(),
            HttpResponse.BodyHandlers.ofString());
    String cookie = in.headers().firstValue("Set-Cookie").orElseThrow();
    return cookie.substring(0, cookie.indexOf(';'));
  }
}
