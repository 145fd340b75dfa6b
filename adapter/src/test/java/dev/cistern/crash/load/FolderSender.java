// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.load;

import dev.cistern.crash.history.HandedOver;
import dev.cistern.crash.history.HandedOver.Told;
import java.io.IOException;
import java.io.UncheckedIOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.StandardCopyOption;
import java.time.Instant;
import java.time.LocalDateTime;
import java.time.ZoneOffset;
import java.time.format.DateTimeFormatter;
import java.util.Arrays;
import java.util.List;
import java.util.Queue;
import java.util.Random;
import java.util.concurrent.ConcurrentLinkedQueue;
import java.util.stream.Stream;
import org.jspecify.annotations.Nullable;

/** Drops files into a folder, each written aside and then renamed, as careful senders do. */
public final class FolderSender implements Sender {
  private static final DateTimeFormatter STAMP =
      DateTimeFormatter.ofPattern("uuuuMMdd'T'HHmmssSSS'Z'");
  private static final int MOST_WAITING = 12;

  private record Dropped(String name, Batch batch) {}

  private final String source;
  private final Path inbox;
  private final String ending;
  private final Batch.Writer writer;
  private final Queue<Dropped> dropped = new ConcurrentLinkedQueue<>();
  private int number;

  public FolderSender(String source, Path inbox, String ending, Batch.Writer writer) {
    this.source = source;
    this.inbox = inbox;
    this.ending = ending;
    this.writer = writer;
  }

  public static FolderSender dayFiles(Path site, Random random) {
    return new FolderSender("elm", site.resolve("elm"), ".csv", new DayFiles(random, "AV-0012"));
  }

  public static FolderSender gateway(Path site, Random random) {
    return new FolderSender(
        "willow", site.resolve("willow"), ".jsonl", new GatewayLines(random, "WG-0105"));
  }

  public static FolderSender messages(Path site, Random random) {
    return new FolderSender(
        "rowan", site.resolve("rowan"), ".hl7", new MessageBatches(random, "RW-0123"));
  }

  /** Day files in a folder of another host's. */
  public static FolderSender fetched(Path folder, Random random) {
    return new FolderSender("oak", folder, ".csv", new DayFiles(random, "AV-0044"));
  }

  @Override
  public void handOver() throws InterruptedException {
    if (waiting() > MOST_WAITING) {
      return; // a share that nobody empties fills no further
    }
    drop(writer.next());
  }

  /** Drops one more file. */
  public void drop(Batch batch) {
    String name = source + "-%05d".formatted(++number) + ending;
    try {
      Files.createDirectories(inbox);
      Path writing = Files.write(inbox.resolve("." + name), batch.bytes());
      dropped.add(new Dropped(name, batch));
      Files.move(writing, inbox.resolve(name), StandardCopyOption.ATOMIC_MOVE);
    } catch (IOException e) {
      throw new UncheckedIOException(e);
    }
  }

  /** How many files nobody has taken yet. */
  public int waiting() {
    return (int) names(inbox).stream().filter(name -> !name.startsWith(".")).count();
  }

  private static List<String> names(Path folder) {
    if (!Files.isDirectory(folder)) {
      return List.of();
    }
    try (Stream<Path> files = Files.list(folder)) {
      return files.map(file -> String.valueOf(file.getFileName())).toList();
    } catch (IOException e) {
      throw new UncheckedIOException(e);
    }
  }

  @Override
  public List<HandedOver> history() {
    List<String> lying = names(inbox);
    List<String> done = names(inbox.resolve(".done"));
    return dropped.stream().map(each -> told(each, lying, done)).toList();
  }

  private HandedOver told(Dropped each, List<String> lying, List<String> done) {
    String moved =
        done.stream().filter(name -> name.endsWith("-" + each.name())).findFirst().orElse(null);
    Told told = Told.VANISHED;
    if (lying.contains(each.name()) && holds(inbox.resolve(each.name()), each.batch())) {
      told = Told.NOTHING;
    } else if (moved != null && holds(inbox.resolve(".done").resolve(moved), each.batch())) {
      told = Told.KEPT;
    }
    Batch batch = each.batch();
    return new HandedOver(source, each.name(), batch.bytes(), batch.meant(), told, at(moved), true);
  }

  private static Instant at(@Nullable String moved) {
    return moved == null
        ? Instant.MAX
        : LocalDateTime.parse(moved.substring(0, moved.indexOf('-')), STAMP)
            .toInstant(ZoneOffset.UTC);
  }

  private static boolean holds(Path file, Batch batch) {
    try {
      return Arrays.equals(Files.readAllBytes(file), batch.bytes());
    } catch (IOException e) {
      return false;
    }
  }
}
