// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.work;

import dev.cistern.mapping.Mapping;
import dev.cistern.plant.Plant;
import dev.cistern.scan.CisternException;
import java.time.Instant;
import java.util.HashMap;
import java.util.Map;
import java.util.TreeMap;
import org.jspecify.annotations.Nullable;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/**
 * Looks whether somebody changed the file of a mapping, and reads what comes from then on under the
 * new text. A text is taken when two looks found the same, so that a file that is being written is
 * not; one that has a problem is said, and the one before stays in use. Each that comes into use is
 * kept as a version, with an event on the trail.
 */
public final class MappingReload implements Runnable {
  private static final Logger log = LoggerFactory.getLogger(MappingReload.class);

  private final Plant plant;
  private final MappingDesk desk;
  private final String actor;

  /** By mapping: the text in use, and the text that the last look found. */
  private final Map<String, String> inUse = new HashMap<>();

  private final Map<String, String> lastLook = new HashMap<>();
  private final Map<String, Trouble> troubles = new TreeMap<>();

  /**
   * Why a changed file is not in use.
   *
   * @param text its SHA-256; null where it cannot be read
   */
  public record Trouble(Instant since, @Nullable String text, String why) {}

  public MappingReload(Plant plant, MappingDesk desk, String actor) {
    this.plant = plant;
    this.desk = desk;
    this.actor = actor;
    for (Mapping mapping : desk.inUse()) {
      inUse.put(mapping.name(), MappingDesk.sha(desk.text(mapping.name())));
    }
  }

  /** Why changed files are not in use, by mapping; without those that are. */
  public synchronized Map<String, Trouble> troubles() {
    return new TreeMap<>(troubles);
  }

  @Override
  public synchronized void run() {
    for (Mapping before : desk.inUse()) {
      String name = before.name();
      String sha = null;
      try {
        String text = desk.text(name);
        sha = MappingDesk.sha(text);
        if (sha.equals(inUse.get(name))) {
          well(name);
        } else if (sha.equals(lastLook.get(name))) {
          use(before, text, sha);
        }
      } catch (CisternException e) {
        ill(name, sha, e);
      }
      lastLook.put(name, String.valueOf(sha));
    }
  }

  private void use(Mapping before, String text, String sha) {
    Mapping mapping = desk.read(before.name(), text);
    if (mapping.format() != before.format()) {
      throw new CisternException(
          "the format was "
              + before.format().code()
              + " and is "
              + mapping.format().code()
              + " now; that needs a restart");
    }
    plant
        .ledger()
        .mappingVersions()
        .add(actor, "mapping-read", before.name(), text, "the file was changed", () -> {});
    plant.feeds().use(mapping);
    inUse.put(before.name(), sha);
    log.info("the mapping {} was changed and is in use", mapping.version());
    troubles.remove(before.name());
  }

  private void well(String name) {
    if (troubles.remove(name) != null) {
      log.info("the file of the mapping {} is again what is in use", name);
    }
  }

  /** Said once for each text. */
  private void ill(String name, @Nullable String sha, CisternException e) {
    Trouble before = troubles.get(name);
    String why = String.valueOf(e.getMessage()).lines().findFirst().orElse("");
    if (before == null || !String.valueOf(before.text()).equals(String.valueOf(sha))) {
      log.error("the changed mapping {} is not used, the one before stays: {}", name, why);
      troubles.put(name, new Trouble(plant.clock().instant(), sha, why));
    }
  }
}
