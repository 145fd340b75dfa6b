// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.testing;

import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.List;
import java.util.stream.Stream;

/** A folder that files are dropped into, with the subfolder that finished ones are moved to. */
public record DropFolder(Path path) {

  public Path drop(String name, String text) throws IOException {
    return Files.writeString(path.resolve(name), text);
  }

  /** The names of the finished files, in order; none where nothing was finished yet. */
  public List<String> done() throws IOException {
    Path done = path.resolve(".done");
    if (!Files.isDirectory(done)) {
      return List.of();
    }
    try (Stream<Path> files = Files.list(done)) {
      return files.map(f -> f.getFileName().toString()).sorted().toList();
    }
  }
}
