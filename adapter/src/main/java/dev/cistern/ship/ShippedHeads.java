// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ship;

import dev.cistern.ledger.Ledger;
import dev.cistern.scan.CisternException;
import java.io.IOException;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.List;
import java.util.Objects;
import java.util.SortedMap;
import java.util.TreeMap;
import java.util.stream.Stream;
import org.jspecify.annotations.Nullable;

/**
 * Heads of the trail as they were kept on another host. A chain that was rewritten as a whole
 * verifies in itself, and does not lead through them.
 */
public final class ShippedHeads {
  private final SortedMap<Long, List<Head>> heads;

  private ShippedHeads(SortedMap<Long, List<Head>> heads) {
    this.heads = heads;
  }

  /**
   * A head through which the chain does not lead.
   *
   * @param beyond whether the chain ends before it; else its event has another hash
   */
  public record Contradiction(Head head, boolean beyond) {}

  /**
   * What comparing came to.
   *
   * @param heads how many were compared
   * @param lastGood the last event up to which a shipped head vouches for the chain; 0 for none
   * @param first where the chain leaves what was shipped; null where it does not
   */
  public record Comparison(long heads, long lastGood, @Nullable Contradiction first) {
    public boolean holds() {
      return first == null;
    }
  }

  /**
   * Reads what a file, a log of syslog messages or a collection of webhook bodies holds, a head on
   * each line; other lines are passed over.
   *
   * @throws CisternException where it cannot be read or holds no head
   */
  public static ShippedHeads read(Path file) {
    SortedMap<Long, List<Head>> heads = new TreeMap<>();
    try (Stream<String> lines = Files.lines(file, StandardCharsets.UTF_8)) {
      lines
          .flatMap(line -> Head.read(line).stream())
          .forEach(head -> heads.computeIfAbsent(head.event(), n -> new ArrayList<>()).add(head));
    } catch (IOException | java.io.UncheckedIOException e) {
      throw new CisternException("The file " + file + " cannot be read.", e);
    }
    if (heads.isEmpty()) {
      throw new CisternException(
          "The file "
              + file
              + " holds no head of a trail; give one that trail.ship wrote, or the output of"
              + " trail --head --json.");
    }
    return new ShippedHeads(heads);
  }

  /** Compares them with a chain that verifies in itself. */
  public Comparison compare(Ledger ledger) {
    SortedMap<Long, List<Head>> left = new TreeMap<>(heads);
    List<Contradiction> wrong = new ArrayList<>();
    long[] lastGood = new long[1];
    ledger.trail(
        null,
        null,
        event -> {
          List<Head> shipped = left.remove(event.seq());
          if (shipped != null) {
            String hash = event.hashText();
            shipped.stream()
                .filter(head -> !head.hash().equals(hash))
                .forEach(head -> wrong.add(new Contradiction(head, false)));
            lastGood[0] = wrong.isEmpty() ? event.seq() : lastGood[0];
          }
        });
    left.values().stream()
        .flatMap(List::stream)
        .forEach(head -> wrong.add(new Contradiction(head, true)));
    long count = heads.values().stream().mapToLong(List::size).sum();
    return new Comparison(count, lastGood[0], wrong.isEmpty() ? null : wrong.get(0));
  }

  /** The sentence about a contradiction. */
  public static String sentence(Comparison comparison) {
    Contradiction first = Objects.requireNonNull(comparison.first(), "it does not hold");
    Head head = first.head();
    return (first.beyond()
            ? "The trail was cut off: it ends before event "
            : "The trail was rewritten: its hash is another one at event ")
        + head.event()
        + ", which "
        + head.node()
        + " shipped at "
        + head.at()
        + ". "
        + (comparison.lastGood() == 0
            ? "No shipped head agrees with it."
            : "Up to event " + comparison.lastGood() + " it is as it was shipped.");
  }
}
