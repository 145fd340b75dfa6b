// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.fuzz;

import java.io.IOException;
import java.io.UncheckedIOException;
import java.lang.management.ManagementFactory;
import java.lang.management.ThreadMXBean;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Duration;
import java.util.ArrayList;
import java.util.Arrays;
import java.util.Collections;
import java.util.List;
import java.util.function.Function;
import java.util.function.LongFunction;
import org.jspecify.annotations.Nullable;

/**
 * Runs inputs one after the other under the eyes of a watchdog, which counts the processor's time
 * and not the clock's: a busy machine is no hang.
 */
public final class Watched {
  private static final Duration BUDGET = Duration.ofSeconds(20);
  private static final Path FOUND = Path.of("target", "campaign", "found");
  private static final int ENOUGH = 20;

  private final List<String> faults = Collections.synchronizedList(new ArrayList<>());
  private volatile long number;
  private volatile long began;
  private volatile @Nullable Sample current;

  private Watched() {}

  /**
   * @param first the number of the first input
   * @param count how many
   * @param inputs makes the input of a number
   * @param trial says what is wrong with what became of it; null where nothing is
   * @return what was found, each with how to make the input again, which is kept in a file as well
   */
  public static List<String> run(
      long first, long count, LongFunction<Sample> inputs, Function<Sample, @Nullable String> trial)
      throws InterruptedException {
    Watched watched = new Watched();
    Thread worker = new Thread(() -> watched.work(first, count, inputs, trial), "fuzz");
    worker.setDaemon(true);
    watched.watch(worker);
    return List.copyOf(watched.faults);
  }

  private void work(
      long first,
      long count,
      LongFunction<Sample> inputs,
      Function<Sample, @Nullable String> trial) {
    ThreadMXBean threads = ManagementFactory.getThreadMXBean();
    for (long i = first; i < first + count && faults.size() < ENOUGH; i++) {
      Sample input = inputs.apply(i);
      number = i;
      current = input;
      began = threads.getCurrentThreadCpuTime();
      String fault = trial.apply(input);
      if (fault != null) {
        found(i, input, fault);
      }
    }
  }

  private void watch(Thread worker) throws InterruptedException {
    ThreadMXBean threads = ManagementFactory.getThreadMXBean();
    worker.start();
    while (worker.isAlive()) {
      worker.join(200);
      long before = number;
      long used = threads.getThreadCpuTime(worker.getId()) - began;
      Sample input = current;
      if (worker.isAlive() && input != null && used > BUDGET.toNanos() && number == before) {
        StackTraceElement[] trace = worker.getStackTrace();
        found(before, input, "it takes too long; at " + Arrays.asList(trace).subList(0, 6));
        return;
      }
    }
  }

  private void found(long i, Sample input, String fault) {
    String file = "%d-%s.bin".formatted(i, input.name().replace('/', '-'));
    try {
      Files.createDirectories(FOUND);
      Files.write(FOUND.resolve(file), input.bytes());
    } catch (IOException e) {
      throw new UncheckedIOException(e);
    }
    faults.add(
        "input %d, from %s, kept as %s: %s".formatted(i, input.name(), FOUND.resolve(file), fault));
  }
}
