// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.wire;

import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.attribute.BasicFileAttributes;
import java.util.List;
import java.util.stream.Collectors;

/**
 * Tells by time, size and identity whether files were changed or replaced; it costs no reading.
 * Replace a file by a move, so that none is seen half written.
 */
record FileStamp(String text) {

  static FileStamp of(List<Path> files) {
    return new FileStamp(files.stream().map(FileStamp::of).collect(Collectors.joining("|")));
  }

  private static String of(Path file) {
    try {
      BasicFileAttributes is = Files.readAttributes(file, BasicFileAttributes.class);
      return is.lastModifiedTime() + "," + is.size() + "," + is.fileKey();
    } catch (IOException e) {
      return "absent";
    }
  }
}
