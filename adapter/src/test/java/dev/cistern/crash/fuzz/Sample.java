// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.fuzz;

import dev.cistern.mapping.Mapping;
import dev.cistern.yaml.YamlFile;
import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.List;
import java.util.stream.Stream;
import org.jspecify.annotations.Nullable;

/**
 * A sample's bytes, from which spoilt ones are made.
 *
 * @param name the folder of the sample
 */
public record Sample(String name, Mapping mapping, @Nullable String contentType, byte[] bytes) {
  private static final Path SAMPLES = Path.of("../samples");
  private static final Path MAPPINGS = Path.of("../mappings");

  public Sample {
    bytes = bytes.clone();
  }

  /** Every sample of every mapping. */
  public static List<Sample> all() throws IOException {
    List<Sample> all = new ArrayList<>();
    for (Path source : folders(SAMPLES)) {
      Mapping mapping = Mapping.read(MAPPINGS.resolve(source.getFileName() + ".yaml"));
      for (Path folder : folders(source)) {
        String type =
            YamlFile.read(folder.resolve("case.yaml")).tree().path("contentType").textValue();
        try (Stream<Path> files = Files.list(folder)) {
          Path input =
              files
                  .filter(file -> String.valueOf(file.getFileName()).startsWith("input."))
                  .findFirst()
                  .orElseThrow();
          String name = source.getFileName() + "/" + folder.getFileName();
          all.add(new Sample(name, mapping, type, Files.readAllBytes(input)));
        }
      }
    }
    return all;
  }

  private static List<Path> folders(Path parent) throws IOException {
    try (Stream<Path> files = Files.list(parent)) {
      return files.filter(Files::isDirectory).sorted().toList();
    }
  }

  public Sample with(byte[] other) {
    return new Sample(name, mapping, contentType, other);
  }

  @Override
  public String toString() {
    return name;
  }
}
