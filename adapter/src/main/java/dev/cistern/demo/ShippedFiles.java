// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.demo;

import dev.cistern.scan.CisternException;
import java.io.IOException;
import java.net.URI;
import java.net.URISyntaxException;
import java.nio.file.FileSystem;
import java.nio.file.FileSystems;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.Map;
import java.util.Objects;
import java.util.function.Function;
import java.util.stream.Stream;

/** Folders that are shipped inside the program, whether it runs from a jar or from classes. */
final class ShippedFiles {
  private ShippedFiles() {}

  /** Reads a shipped folder while it is open. */
  static <T> T in(String folder, Function<Path, T> read) {
    try {
      URI place =
          Objects.requireNonNull(
                  ShippedFiles.class.getResource("/" + folder), "the program lacks " + folder)
              .toURI();
      if (!place.getScheme().equals("jar")) {
        return read.apply(Path.of(place));
      }
      try (FileSystem jar = FileSystems.newFileSystem(place, Map.of())) {
        return read.apply(jar.getPath("/" + folder));
      }
    } catch (IOException | URISyntaxException e) {
      throw new CisternException("The program's own files cannot be read; install it again.", e);
    }
  }

  /** Copies a shipped folder's files out. */
  static void copy(String folder, Path to) {
    in(
        folder,
        from -> {
          try (Stream<Path> files = Files.list(from)) {
            Files.createDirectories(to);
            for (Path file : files.filter(Files::isRegularFile).toList()) {
              Files.copy(file, to.resolve(String.valueOf(file.getFileName())));
            }
            return to;
          } catch (IOException e) {
            throw new CisternException("The folder " + to + " cannot be written.", e);
          }
        });
  }
}
