// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.load;

import dev.cistern.crash.history.HandedOver;
import dev.cistern.crash.history.HandedOver.Told;
import dev.cistern.crash.history.Meant;
import java.io.IOException;
import java.net.URI;
import java.net.http.HttpClient;
import java.net.http.HttpRequest;
import java.net.http.HttpResponse;
import java.nio.charset.StandardCharsets;
import java.time.Clock;
import java.time.Duration;
import java.util.List;
import java.util.Queue;
import java.util.Random;
import java.util.Set;
import java.util.concurrent.ConcurrentLinkedQueue;
import java.util.concurrent.ConcurrentSkipListSet;

/**
 * Posts FHIR Observations one by one, preliminary, final and corrected ones out of order, each
 * until it is answered with 201; now and then one that was answered comes again, byte by byte.
 */
public final class ObservationSender implements Sender {
  private static final String[] STATUSES = {"preliminary", "final", "corrected"};

  private final URI target;
  private final Random random;
  private final Versions versions;
  private final HttpClient http =
      HttpClient.newBuilder()
          .version(HttpClient.Version.HTTP_1_1)
          .connectTimeout(Duration.ofSeconds(2))
          .build();
  private final Queue<HandedOver> sent = new ConcurrentLinkedQueue<>();
  private final Set<Integer> statuses = new ConcurrentSkipListSet<>();
  private int number;

  public ObservationSender(URI target, Random random) {
    this.target = target;
    this.random = random;
    this.versions = new Versions(random, "OK-0301", false);
  }

  @Override
  public void handOver() throws InterruptedException {
    Meant meant = versions.next();
    String name = "observation-" + ++number;
    byte[] body = observation(name, meant).getBytes(StandardCharsets.UTF_8);
    for (int times = random.nextInt(6) == 0 ? 2 : 1; times > 0; times--) {
      while (!kept(body)) {
        Thread.sleep(60); // nobody is listening just now, or the store cannot be written
      }
    }
    sent.add(
        new HandedOver(
            "middle", name, body, List.of(meant), Told.KEPT, Clock.systemUTC().instant(), true));
  }

  private static String observation(String id, Meant meant) {
    return """
    {"resourceType":"Observation","id":"%s","status":"%s",
     "identifier":[{"system":"urn:oid:2.999.7.1","value":"%s"}],
     "code":{"coding":[{"system":"http://loinc.org","code":"98856-8"}]},
     "subject":{"identifier":{"system":"%s","value":"%s"},"display":"%s"},
     "effectiveDateTime":"2026-03-14T09:05:00Z",
     "valueQuantity":{"value":%d,"system":"http://unitsofmeasure.org","code":"mL"},
     "device":{"identifier":{"value":"%s"}}}"""
        .formatted(
            id,
            STATUSES[meant.rank()],
            meant.exam(),
            People.SYSTEM,
            meant.patient(),
            People.NAME,
            meant.millilitres(),
            meant.device());
  }

  private boolean kept(byte[] body) throws InterruptedException {
    HttpRequest request =
        HttpRequest.newBuilder(target)
            .timeout(Duration.ofSeconds(20))
            .header("Content-Type", "application/fhir+json")
            .POST(HttpRequest.BodyPublishers.ofByteArray(body))
            .build();
    try {
      int status = http.send(request, HttpResponse.BodyHandlers.discarding()).statusCode();
      statuses.add(status);
      return status == 201;
    } catch (IOException e) {
      return false; // no answer: it is posted again
    }
  }

  /** With what posts were answered. */
  public Set<Integer> statuses() {
    return Set.copyOf(statuses);
  }

  @Override
  public List<HandedOver> history() {
    return List.copyOf(sent);
  }
}
