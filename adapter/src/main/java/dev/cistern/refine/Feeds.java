// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.refine;

import dev.cistern.config.Settings;
import dev.cistern.mapping.Mapping;
import dev.cistern.scan.CisternException;
import java.util.HashMap;
import java.util.Map;
import java.util.concurrent.ConcurrentHashMap;

/** The mapping of each source. */
public final class Feeds {
  private final Map<String, Mapping> bySource;

  public Feeds(Map<String, Mapping> bySource) {
    this.bySource = new ConcurrentHashMap<>(bySource);
  }

  /** Reads the mapping of every source of the settings. */
  public static Feeds read(Settings settings) {
    Map<String, Mapping> mappings = new HashMap<>();
    Map<String, Mapping> bySource = new HashMap<>();
    for (Settings.Source source : settings.sources()) {
      bySource.put(
          source.name(),
          mappings.computeIfAbsent(
              source.mapping(), name -> Mapping.read(settings.mappingFile(name))));
    }
    return new Feeds(bySource);
  }

  /** From now on every source that uses a mapping of this name is read under this one. */
  public void use(Mapping mapping) {
    bySource.replaceAll(
        (source, before) -> before.name().equals(mapping.name()) ? mapping : before);
  }

  public boolean has(String source) {
    return bySource.containsKey(source);
  }

  /**
   * @throws CisternException where the source is no longer configured
   */
  public Mapping of(String source) {
    Mapping mapping = bySource.get(source);
    if (mapping == null) {
      throw new CisternException(
          "The source "
              + source
              + " is not in the settings any more; put it back so that its entries can be processed.");
    }
    return mapping;
  }
}
