// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ship;

import java.io.IOException;
import java.nio.ByteBuffer;
import java.nio.charset.StandardCharsets;
import java.nio.file.Path;
import java.nio.file.StandardOpenOption;

/** Appends to a file, which should lie on another host's storage. */
record FileChannel(Path path) implements Channel {
  @Override
  public String name() {
    return "file";
  }

  @Override
  public void send(Head head) throws NotShipped {
    try (java.nio.channels.FileChannel file =
        java.nio.channels.FileChannel.open(
            path, StandardOpenOption.CREATE, StandardOpenOption.APPEND)) {
      ByteBuffer line = ByteBuffer.wrap((head.line() + "\n").getBytes(StandardCharsets.UTF_8));
      while (line.hasRemaining()) {
        file.write(line);
      }
      file.force(true);
    } catch (IOException e) {
      throw new NotShipped("the file cannot be written (" + e.getClass().getSimpleName() + ")", e);
    }
  }
}
