// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash;

import static org.awaitility.Awaitility.await;

import dev.cistern.crash.load.FolderSender;
import dev.cistern.testing.FaultyFhirServer.Fault;
import java.io.IOException;
import java.nio.channels.FileChannel;
import java.nio.channels.FileLock;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.StandardCopyOption;
import java.nio.file.StandardOpenOption;
import java.time.Duration;
import java.util.List;
import java.util.Objects;
import java.util.Random;
import org.jspecify.annotations.Nullable;

/**
 * The program's classes as the Java machine has them in memory, kept in a file beside the jar: a
 * start takes two thirds of the processor's time with it, and these tests start the program
 * hundreds of times. Made once for each jar, by a run that loads what a working adapter loads.
 */
final class ClassArchive {
  private static final Duration PATIENCE = Duration.ofMinutes(3);
  private static @Nullable List<String> options;

  private ClassArchive() {}

  /** What the Java machine is told; nothing where it makes no such file. */
  static synchronized List<String> options() throws IOException, InterruptedException {
    List<String> known = options;
    if (known == null) {
      Path archive = archive(AdapterProcess.jar());
      known = Files.exists(archive) ? List.of("-XX:SharedArchiveFile=" + archive) : List.of();
      options = known;
    }
    return known;
  }

  private static Path archive(Path jar) throws IOException, InterruptedException {
    Path folder = Objects.requireNonNull(jar.getParent());
    Path archive =
        folder.resolve("cistern-" + Files.getLastModifiedTime(jar).toMillis() + ".classes");
    // The tests run in two processes: one of them makes it, the other one waits.
    try (FileChannel channel =
            FileChannel.open(
                folder.resolve("classes.lock"),
                StandardOpenOption.CREATE,
                StandardOpenOption.WRITE);
        FileLock lock = channel.lock()) {
      if (lock.isValid() && !Files.exists(archive)) {
        make(archive);
      }
    }
    return archive;
  }

  private static void make(Path archive) throws IOException, InterruptedException {
    Path half = archive.resolveSibling(archive.getFileName() + ".half");
    Files.deleteIfExists(half);
    Path site = archive.resolveSibling(archive.getFileName() + ".site");
    try (Scene scene = Scene.at(site, true, () -> Fault.NONE)) {
      scene.adapter.start(List.of(), List.of("-XX:ArchiveClassesAtExit=" + half));
      scene.awaitReady();
      List<FolderSender> senders =
          List.of(
              FolderSender.dayFiles(site, new Random(1)),
              FolderSender.gateway(site, new Random(2)),
              FolderSender.messages(site, new Random(3)));
      for (FolderSender each : senders) {
        each.handOver();
      }
      await().atMost(PATIENCE).until(() -> senders.stream().allMatch(each -> each.waiting() == 0));
      scene.adapter.terminate();
      if (scene.adapter.ended(PATIENCE) && Files.exists(half)) {
        Files.move(half, archive, StandardCopyOption.ATOMIC_MOVE);
      }
    }
  }
}
