// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.fuzz;

import java.nio.file.Path;
import java.util.ArrayList;
import java.util.Arrays;
import java.util.List;
import java.util.Map;
import java.util.Random;
import java.util.TreeMap;
import org.jspecify.annotations.Nullable;

/** Makes inputs of samples, and takes each through everything. */
public final class Fuzz implements AutoCloseable {
  private static final int INTO_THE_STORE = 100;

  /** A cut of a large sample teaches nothing that a cut of a small one does not. */
  private static final int LARGEST = 20_000;

  private final List<Sample> samples;
  private final Pipeline pipeline = new Pipeline();
  private final StorePipeline store;
  private final long seed;
  private final Map<String, Long> inputs = new TreeMap<>();
  private long tried;

  /**
   * @param folder for a ledger that is thrown away
   */
  public Fuzz(List<Sample> samples, Path folder, long seed) {
    this.samples = samples.stream().filter(s -> s.bytes().length <= LARGEST).toList();
    this.store = new StorePipeline(folder, samples, pipeline.refinery());
    this.seed = seed;
  }

  /** Spoilt samples; returns what was found. */
  public List<String> mutated(long first, long count) throws InterruptedException {
    return Watched.run(first, count, this::spoilt, this::trial);
  }

  private Sample spoilt(long number) {
    Random random = new Random(seed * 1_000_003 + number);
    Sample sample = samples.get(random.nextInt(samples.size()));
    Sample other = samples.get(random.nextInt(samples.size()));
    byte[] bytes =
        new Mutator(random).spoil(sample.bytes(), other.bytes(), sample.mapping().format());
    return sample.with(bytes);
  }

  /** Samples that end early, behind every so many-th of their bytes; returns what was found. */
  public List<String> cut(int step) throws InterruptedException {
    List<Integer> which = new ArrayList<>();
    List<Integer> where = new ArrayList<>();
    for (int i = 0; i < samples.size(); i++) {
      for (int at = i % step; at < samples.get(i).bytes().length; at += step) {
        which.add(i);
        where.add(at);
      }
    }
    return Watched.run(
        0,
        which.size(),
        number -> {
          Sample sample = samples.get(which.get((int) number));
          return sample.with(Arrays.copyOf(sample.bytes(), where.get((int) number)));
        },
        this::trial);
  }

  private @Nullable String trial(Sample input) {
    tried++;
    inputs.merge("inputs, " + input.mapping().format(), 1L, Long::sum);
    String fault = pipeline.fault(input);
    return fault == null && tried % INTO_THE_STORE == 0 ? store.fault(input) : fault;
  }

  /** Whether the ledger adds up after all of it. */
  public boolean addsUp() {
    return store.addsUp();
  }

  public Map<String, Long> figures() {
    Map<String, Long> figures = new TreeMap<>(inputs);
    figures.put("inputs", tried);
    figures.put("entries accepted", pipeline.accepted());
    figures.put("entries refused with a reason", pipeline.refused());
    figures.put("inputs through a ledger", store.inputs());
    return figures;
  }

  @Override
  public void close() {
    store.close();
  }
}
