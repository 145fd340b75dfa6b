// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.load;

import dev.cistern.crash.history.HandedOver;
import java.util.ArrayList;
import java.util.List;
import java.util.Queue;
import java.util.concurrent.ConcurrentLinkedQueue;

/**
 * Senders at work, each on a thread of its own and at its own pace, until they are told to stop.
 */
public final class Feeding {
  /** A sender, and how long it waits between two things. */
  public record Paced(Sender sender, int millis) {}

  private final List<Paced> senders;
  private final List<Thread> threads = new ArrayList<>();
  private final Queue<Throwable> broken = new ConcurrentLinkedQueue<>();
  private volatile boolean stopped;

  private Feeding(List<Paced> senders) {
    this.senders = List.copyOf(senders);
  }

  public static Feeding start(Paced... senders) {
    Feeding feeding = new Feeding(List.of(senders));
    for (Paced each : senders) {
      Thread thread = new Thread(() -> feeding.feed(each), "sender");
      thread.setDaemon(true);
      thread.start();
      feeding.threads.add(thread);
    }
    return feeding;
  }

  private void feed(Paced each) {
    try {
      while (!stopped) {
        each.sender().handOver();
        Thread.sleep(each.millis());
      }
    } catch (InterruptedException e) {
      Thread.currentThread().interrupt();
    } catch (RuntimeException e) {
      broken.add(e);
    }
  }

  /** No sender begins anything new; returns when each has its last answer. */
  public void stop() throws InterruptedException {
    stopped = true;
    for (Thread thread : threads) {
      thread.join();
    }
    if (!broken.isEmpty()) {
      throw new IllegalStateException("a sender failed", broken.peek());
    }
  }

  public List<HandedOver> history() {
    return senders.stream().flatMap(each -> each.sender().history().stream()).toList();
  }
}
