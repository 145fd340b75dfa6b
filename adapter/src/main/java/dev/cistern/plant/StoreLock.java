// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.plant;

import dev.cistern.scan.CisternException;
import java.io.IOException;
import java.nio.channels.FileChannel;
import java.nio.channels.FileLock;
import java.nio.channels.OverlappingFileLockException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.StandardOpenOption;

/** One running adapter for one embedded store. The operating system lets go of it at any death. */
public final class StoreLock implements AutoCloseable {
  private final FileChannel channel;

  private StoreLock(FileChannel channel) {
    this.channel = channel;
  }

  /**
   * @throws CisternException where another adapter runs on this store
   */
  public static StoreLock take(Path data) {
    Path file = data.resolve("running.lock");
    try {
      Files.createDirectories(data);
      FileChannel channel =
          FileChannel.open(file, StandardOpenOption.CREATE, StandardOpenOption.WRITE);
      FileLock lock = tryLock(channel);
      if (lock == null) {
        channel.close();
        throw new CisternException(
            "Another adapter runs on the store in "
                + data
                + "; stop it first, or give this one a data folder of its own.");
      }
      return new StoreLock(channel);
    } catch (IOException e) {
      throw new CisternException("The data folder " + data + " cannot be written.", e);
    }
  }

  private static @org.jspecify.annotations.Nullable FileLock tryLock(FileChannel channel)
      throws IOException {
    try {
      return channel.tryLock();
    } catch (OverlappingFileLockException e) {
      return null;
    }
  }

  @Override
  public void close() {
    try {
      channel.close();
    } catch (IOException e) {
      throw new CisternException("The lock of the data folder could not be let go.", e);
    }
  }
}
