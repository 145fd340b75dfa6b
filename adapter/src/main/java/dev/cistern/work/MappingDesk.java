// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.work;

import dev.cistern.ledger.MappingVersions;
import dev.cistern.mapping.Mapping;
import dev.cistern.plant.Plant;
import dev.cistern.refine.Preview;
import dev.cistern.scan.CisternException;
import dev.cistern.scan.Sha256;
import java.io.IOException;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.StandardCopyOption;
import java.util.ArrayList;
import java.util.List;
import java.util.TreeSet;
import org.jspecify.annotations.Nullable;

/**
 * Where mappings are changed: tried, brought into use as a new version, and brought back. The file
 * stays what counts; the ledger keeps every text that was in use.
 */
public final class MappingDesk {
  private final Plant plant;

  public MappingDesk(Plant plant) {
    this.plant = plant;
  }

  /** The mappings that sources use, by name. */
  public List<Mapping> inUse() {
    List<Mapping> mappings = new ArrayList<>();
    TreeSet<String> names = new TreeSet<>();
    plant.settings().sources().forEach(source -> names.add(source.mapping()));
    for (String name : names) {
      plant.settings().sources().stream()
          .filter(source -> source.mapping().equals(name))
          .findFirst()
          .ifPresent(source -> mappings.add(plant.feeds().of(source.name())));
    }
    return mappings;
  }

  /** The sources that use a mapping. */
  public List<String> sources(String mapping) {
    return plant.settings().sources().stream()
        .filter(source -> source.mapping().equals(mapping))
        .map(source -> source.name())
        .toList();
  }

  /** The mapping that a source is read under; null where it is in the settings no more. */
  public @Nullable String mappingOf(String source) {
    return plant.feeds().has(source) ? plant.feeds().of(source).name() : null;
  }

  /** What the mapping's file holds now. */
  public String text(String mapping) {
    Path file = file(mapping);
    try {
      return Files.readString(file);
    } catch (IOException e) {
      throw new CisternException(
          "The mapping's file " + file + " cannot be read as UTF-8; check its permissions.", e);
    }
  }

  /**
   * Reads a changed text.
   *
   * @throws CisternException with every problem that it has, or where it calls itself another name
   */
  public Mapping read(String name, String text) {
    Mapping mapping = Mapping.parse(name + ".yaml", text);
    if (!mapping.name().equals(name)) {
      throw new CisternException(
          "This text says mapping: " + mapping.name() + ", but it is to replace " + name + ".");
    }
    return mapping;
  }

  /** Shows what would become of a sample, entry by entry, in a throw-away ledger. */
  public List<Preview.Shown> tried(Mapping mapping, byte[] sample, int most) {
    Preview preview =
        Preview.open(mapping, plant.refinery(), plant.settings().patient().system(), plant.clock());
    return SampleTrial.of(sample, most).under(preview, SampleTrial.typeOf(mapping));
  }

  /**
   * Brings a text into use: keeps it as a new version, replaces the file, and reads what comes from
   * now on under it.
   *
   * @param before SHA-256 of the text that the person began with
   * @throws CisternException where somebody else changed it meanwhile, or the file cannot be
   *     written
   */
  public void activate(String actor, String name, String text, String before, String why) {
    Mapping mapping = read(name, text);
    Path file = file(name);
    plant
        .ledger()
        .mappingVersions()
        .add(
            actor,
            "mapping-activated",
            name,
            text,
            why,
            () -> {
              if (!sha(text(name)).equals(before)) {
                throw new CisternException(
                    "The mapping was changed by somebody else meanwhile. Load it again; your text is"
                        + " still in the browser's last page.");
              }
              replace(file, text);
            });
    plant.feeds().use(mapping);
  }

  static void replace(Path file, String text) {
    Path written = file.resolveSibling("." + file.getFileName() + ".new");
    try {
      Files.writeString(written, text);
      Files.move(
          written, file, StandardCopyOption.ATOMIC_MOVE, StandardCopyOption.REPLACE_EXISTING);
    } catch (IOException e) {
      throw new CisternException(
          "The file " + file + " cannot be written; nothing was changed. Check its permissions.",
          e);
    }
  }

  /** Keeps what the files say where it is not what was in use last: somebody edited them. */
  public void noteFiles(String actor) {
    for (Mapping mapping : inUse()) {
      plant
          .ledger()
          .mappingVersions()
          .add(
              actor,
              "mapping-read",
              mapping.name(),
              text(mapping.name()),
              "as the file says at the start",
              () -> {});
    }
  }

  public List<MappingVersions.Version> versions(String mapping) {
    return plant.ledger().mappingVersions().of(mapping);
  }

  public static String sha(String text) {
    return Sha256.hex(text.getBytes(StandardCharsets.UTF_8));
  }

  private Path file(String mapping) {
    if (sources(mapping).isEmpty()) {
      throw new CisternException("No source uses a mapping of this name.");
    }
    return plant.settings().mappingFile(mapping);
  }
}
