// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.load;

import dev.cistern.crash.history.HandedOver;
import dev.cistern.crash.history.HandedOver.Told;
import dev.cistern.crash.history.Meant;
import dev.cistern.crash.history.Meant.Fate;
import java.io.IOException;
import java.net.URI;
import java.net.http.HttpClient;
import java.net.http.HttpRequest;
import java.net.http.HttpResponse;
import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
import java.util.ArrayList;
import java.util.List;
import java.util.Queue;
import java.util.Random;
import java.util.Set;
import java.util.concurrent.CompletableFuture;
import java.util.concurrent.CompletionException;
import java.util.concurrent.ConcurrentLinkedQueue;
import java.util.concurrent.ConcurrentSkipListSet;
import java.util.function.BooleanSupplier;

/**
 * Posts forms: some thrice at once, some again after they were answered, some under a key that was
 * used, some without a volume. Each is repeated until it is answered with something else than "try
 * again".
 */
public final class FormSender implements Sender {
  private static final String DEVICE = "AV-9";

  private final URI form;
  private final Random random;
  private final Clock clock;
  private final BooleanSupplier goOn;
  private final HttpClient http =
      HttpClient.newBuilder()
          .version(HttpClient.Version.HTTP_1_1)
          .connectTimeout(Duration.ofSeconds(2))
          .build();
  private final Queue<HandedOver> posted = new ConcurrentLinkedQueue<>();
  private final Set<Integer> statuses = new ConcurrentSkipListSet<>();
  private int number;

  /**
   * @param goOn whether a post that nobody answers is still to be repeated
   */
  public FormSender(URI form, Random random, Clock clock, BooleanSupplier goOn) {
    this.form = form;
    this.random = random;
    this.clock = clock;
    this.goOn = goOn;
  }

  @Override
  public void handOver() throws InterruptedException {
    number++;
    String key = "form-" + number;
    int volume = 1 + random.nextInt(700);
    Batch whole = post(volume, Fate.ARRIVES);
    switch (random.nextInt(8)) {
      case 0 -> send(key, post(volume, Fate.HELD), 1);
      case 1 -> send(key, whole, 3);
      case 2 -> {
        send(key, whole, 1);
        send(key, whole, 1);
      }
      case 3 -> {
        send(key, whole, 1);
        number++;
        Batch other = post(volume, Fate.ARRIVES);
        send(key, new Batch(other.bytes(), List.of(held(other.meant().get(0)))), 1);
      }
      default -> send(key, whole, 1);
    }
  }

  private static Meant held(Meant meant) {
    return new Meant(
        Fate.HELD,
        meant.device(),
        meant.exam(),
        meant.rank(),
        meant.patient(),
        meant.millilitres());
  }

  /** A form; one that is to be held has no volume. */
  private Batch post(int volume, Fate fate) {
    String patient = People.any(random);
    String exam = String.valueOf(number);
    String body =
        "patient=%s&measured=2026-03-14T09:05&volume=%s&purpose=pre-void&scanner=%s&exam=%s"
            .formatted(patient, fate == Fate.HELD ? "" : volume, DEVICE, exam);
    return Batch.of(body, List.of(new Meant(fate, DEVICE, exam, 0, patient, volume)));
  }

  /** Posts it so many times at once, each until it is answered. */
  public void send(String key, Batch batch, int times) throws InterruptedException {
    List<CompletableFuture<HttpResponse<String>>> answers = new ArrayList<>();
    for (int i = 0; i < times; i++) {
      answers.add(http.sendAsync(request(key, batch), HttpResponse.BodyHandlers.ofString()));
    }
    for (CompletableFuture<HttpResponse<String>> answer : answers) {
      posted.add(settled(key, batch, answer));
    }
  }

  private HandedOver settled(String key, Batch batch, CompletableFuture<HttpResponse<String>> first)
      throws InterruptedException {
    boolean reasons = true;
    try {
      HttpResponse<String> answer = first.join();
      reasons = note(answer);
      if (answer.statusCode() < 500) {
        return told(key, batch, answer, reasons);
      }
    } catch (CompletionException e) {
      // nobody answered; it is posted again
    }
    while (goOn.getAsBoolean()) {
      try {
        HttpResponse<String> answer =
            http.send(request(key, batch), HttpResponse.BodyHandlers.ofString());
        reasons &= note(answer);
        if (answer.statusCode() < 500) {
          return told(key, batch, answer, reasons);
        }
      } catch (IOException e) {
        // nobody answered; it is posted again
      }
      Thread.sleep(60); // nobody is listening just now
    }
    return new HandedOver(
        "bedside", key, batch.bytes(), batch.meant(), Told.NOTHING, Instant.MAX, reasons);
  }

  private boolean note(HttpResponse<String> answer) {
    statuses.add(answer.statusCode());
    return answer.statusCode() < 300 || !answer.body().isBlank();
  }

  private HandedOver told(String key, Batch batch, HttpResponse<String> answer, boolean reasons) {
    int status = answer.statusCode();
    Told told = Told.NOT_KEPT;
    if (status == 200 || status == 201) {
      told = Told.KEPT;
    } else if (status == 422) {
      told = Told.RETURNED;
    }
    return new HandedOver(
        "bedside", key, batch.bytes(), batch.meant(), told, clock.instant(), reasons);
  }

  private HttpRequest request(String key, Batch batch) {
    return HttpRequest.newBuilder(form)
        .timeout(Duration.ofSeconds(20))
        .header("Content-Type", "application/x-www-form-urlencoded")
        .header("Idempotency-Key", key)
        .POST(HttpRequest.BodyPublishers.ofByteArray(batch.bytes()))
        .build();
  }

  /** With what posts were answered. */
  public Set<Integer> statuses() {
    return Set.copyOf(statuses);
  }

  @Override
  public List<HandedOver> history() {
    return List.copyOf(posted);
  }
}
