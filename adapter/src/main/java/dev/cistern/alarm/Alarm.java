// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.alarm;

import dev.cistern.config.Settings;
import dev.cistern.json.Json;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.Queue;
import java.io.IOException;
import java.net.URI;
import java.net.http.HttpClient;
import java.net.http.HttpRequest;
import java.net.http.HttpResponse;
import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
import java.util.function.IntSupplier;
import org.jspecify.annotations.Nullable;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/**
 * Posts to an address of the site's when a rejected result at or above the alarm volume waits: at
 * once when one comes, and again from time to time while any is there. Says how many and since
 * when, and nothing of a patient. A post that fails is tried again the next time it is looked.
 */
public final class Alarm {
  private static final Logger log = LoggerFactory.getLogger(Alarm.class);
  private static final Duration PATIENCE = Duration.ofSeconds(10);

  private final HttpClient http = HttpClient.newBuilder().connectTimeout(PATIENCE).build();
  private final Ledger ledger;
  private final Settings.Alarm settings;
  private final String node;
  private final IntSupplier volume;
  private final Clock clock;
  private @Nullable Instant told;
  private @Nullable Instant newest;

  /**
   * @param volume asked at each look: from which volume in mL on a rejected result is urgent
   */
  public Alarm(
      Ledger ledger, Settings.Alarm settings, String node, IntSupplier volume, Clock clock) {
    this.ledger = ledger;
    this.settings = settings;
    this.node = node;
    this.volume = volume;
    this.clock = clock;
  }

  /** Looks, and tells where there is something to tell; whether somebody was told. */
  public synchronized boolean look() {
    URI url = settings.url();
    if (url == null || !ledger.duties().mine("alarm")) {
      return false;
    }
    int from = volume.getAsInt();
    Queue.Urgent urgent = ledger.queue().urgent(from);
    if (urgent.entries() == 0) {
      told = null;
      newest = null;
      return false;
    }
    if (!isNews(urgent) || !tell(url, urgent, from)) {
      return false;
    }
    told = clock.instant();
    newest = urgent.newest();
    return true;
  }

  private boolean isNews(Queue.Urgent urgent) {
    Instant before = told;
    Instant known = newest;
    Instant latest = urgent.newest();
    return before == null
        || known == null
        || latest != null && latest.isAfter(known)
        || !clock.instant().isBefore(before.plus(settings.repeat()));
  }

  private boolean tell(URI url, Queue.Urgent urgent, int from) {
    try {
      HttpResponse<Void> answer =
          http.send(
              HttpRequest.newBuilder(url)
                  .timeout(PATIENCE)
                  .header("Content-Type", "application/json")
                  .POST(HttpRequest.BodyPublishers.ofString(body(urgent, from)))
                  .build(),
              HttpResponse.BodyHandlers.discarding());
      if (answer.statusCode() / 100 == 2) {
        return true;
      }
      log.warn("the alarm's address answers {}; it is tried again", answer.statusCode());
    } catch (IOException e) {
      // Not the address: it may carry a secret.
      log.warn("the alarm's address cannot be reached: {}", e.getClass().getSimpleName());
    } catch (InterruptedException e) {
      Thread.currentThread().interrupt();
    }
    return false;
  }

  private String body(Queue.Urgent urgent, int from) {
    return Json.text(
        out -> {
          out.writeStartObject();
          out.writeStringField("node", node);
          out.writeNumberField("urgentRejected", urgent.entries());
          out.writeNumberField("alarmVolumeMl", from);
          out.writeStringField("oldestReceivedAt", String.valueOf(urgent.oldest()));
          out.writeStringField(
              "message",
              urgent.entries()
                  + " rejected results at or above "
                  + from
                  + " mL wait for a person; the record does not show them.");
          out.writeEndObject();
        });
  }
}
