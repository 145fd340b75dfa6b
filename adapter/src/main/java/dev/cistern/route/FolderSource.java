// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.config.Settings;
import dev.cistern.intake.DoneName;
import dev.cistern.intake.Keeping;
import dev.cistern.ledger.Handover;
import java.io.File;
import java.io.IOException;
import java.io.InputStream;
import java.nio.file.Files;
import java.nio.file.LinkOption;
import java.nio.file.Path;
import java.nio.file.StandardCopyOption;
import java.nio.file.attribute.BasicFileAttributes;
import java.time.Clock;
import java.time.Instant;
import java.util.HashSet;
import java.util.Set;
import org.apache.camel.Body;

/** What happens to the files of one folder. */
public final class FolderSource {
  private final Settings.Folder settings;
  private final Keeping intake;
  private final Clock clock;
  private final Settled settled;

  /** Files that are committed but could not be moved: they are not committed again. */
  private final Set<Seen> unmoved = new HashSet<>();

  private record Seen(Path path, long size, long modified, String inode) {}

  FolderSource(Settings.Folder settings, Keeping intake, Clock clock) {
    this.settings = settings;
    this.intake = intake;
    this.clock = clock;
    this.settled = new Settled(settings.pattern(), settings.settle(), clock);
  }

  Settings.Folder settings() {
    return settings;
  }

  Settled settled() {
    return settled;
  }

  /**
   * Commits the file to the ledger.
   *
   * @throws IOException where it cannot be read, or changes while it is read; nothing is kept then,
   *     and the next look at the folder finds it again
   */
  public void receive(@Body File file) throws IOException {
    Path path = file.toPath();
    Seen before = look(path);
    if (unmoved.contains(before)) {
      return;
    }
    Handover handover =
        new Handover(settings.name(), settings.kind(), path.getFileName().toString(), null, null);
    try (InputStream bytes = Files.newInputStream(path, LinkOption.NOFOLLOW_LINKS)) {
      intake.receive(
          handover,
          bytes,
          () -> {
            if (!look(path).equals(before)) {
              throw new IOException("the file changed while it was read");
            }
          });
    }
    unmoved.add(before);
  }

  /** Moves a committed file into the folder for finished ones, under a name that is never taken. */
  public void moveAway(@Body File file) throws IOException {
    Path path = file.toPath();
    Seen seen = look(path);
    if (!unmoved.contains(seen)) {
      return; // replaced since it was committed: the new one is read at the next look
    }
    Path folder = path.resolveSibling(settings.done());
    Files.createDirectories(folder);
    Files.move(path, free(folder, clock.instant(), path), StandardCopyOption.ATOMIC_MOVE);
    unmoved.remove(seen);
  }

  /** A file of the same name may have been moved in the same moment, or the clock was set back. */
  private static Path free(Path folder, Instant now, Path file) {
    String name = file.getFileName().toString();
    Path free = folder.resolve(DoneName.of(name, now, 1));
    for (int i = 2; Files.exists(free, LinkOption.NOFOLLOW_LINKS); i++) {
      free = folder.resolve(DoneName.of(name, now, i));
    }
    return free;
  }

  private static Seen look(Path path) throws IOException {
    BasicFileAttributes now =
        Files.readAttributes(path, BasicFileAttributes.class, LinkOption.NOFOLLOW_LINKS);
    if (!now.isRegularFile()) {
      throw new IOException("it is not a regular file");
    }
    return new Seen(
        path, now.size(), now.lastModifiedTime().toMillis(), String.valueOf(now.fileKey()));
  }
}
