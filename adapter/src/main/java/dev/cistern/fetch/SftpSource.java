// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fetch;

import dev.cistern.config.Settings;
import dev.cistern.intake.Ailment;
import dev.cistern.intake.DoneName;
import dev.cistern.intake.Keeping;
import dev.cistern.intake.Polled;
import dev.cistern.intake.Settling;
import dev.cistern.intake.Trouble;
import dev.cistern.ledger.Handover;
import java.io.IOException;
import java.io.InputStream;
import java.nio.file.FileSystems;
import java.nio.file.InvalidPathException;
import java.nio.file.Path;
import java.nio.file.PathMatcher;
import java.time.Clock;
import java.util.Comparator;
import java.util.HashSet;
import java.util.List;
import java.util.Set;
import org.jspecify.annotations.Nullable;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/**
 * Takes the files of one folder on a server: when they have settled, commits them, and only then
 * moves them away there. What fails in between leaves the file where it is, and the next look finds
 * it again.
 */
public final class SftpSource implements Polled, AutoCloseable {
  private static final Logger log = LoggerFactory.getLogger(SftpSource.class);

  /** The looks of other sources and the stop should not wait for a folder of thousands. */
  private static final int MOST_AT_ONCE = 200;

  private final Settings.Sftp settings;
  private final Keeping intake;
  private final Clock clock;
  private final SftpConnection connection;
  private final Settling settling;
  private final PathMatcher pattern;

  /** Files that are committed but could not be moved: they are not committed again. */
  private final Set<SftpConnection.Listed> unmoved = new HashSet<>();

  private final Ailment ailment;

  public SftpSource(Settings.Sftp settings, Keeping intake, Clock clock) {
    this.settings = settings;
    this.intake = intake;
    this.clock = clock;
    this.ailment =
        new Ailment(
            log,
            clock,
            "source " + settings.name(),
            "source " + settings.name() + ": its folder can be read again");
    this.connection = new SftpConnection(settings);
    this.settling = new Settling(settings.settle(), clock);
    this.pattern = FileSystems.getDefault().getPathMatcher("glob:" + settings.pattern());
  }

  public Settings.Sftp settings() {
    return settings;
  }

  @Override
  public String name() {
    return settings.name();
  }

  @Override
  public @Nullable Trouble trouble() {
    return ailment.trouble();
  }

  /** One look at the folder; returns how many files were committed. */
  public synchronized int look() {
    int committed = 0;
    try {
      List<SftpConnection.Listed> files =
          connection.list().stream()
              .filter(this::wanted)
              .filter(file -> settling.isSettled(file.name(), file.size(), file.modified()))
              .sorted(
                  Comparator.comparingInt(SftpConnection.Listed::modified)
                      .thenComparing(SftpConnection.Listed::name))
              .limit(MOST_AT_ONCE)
              .toList();
      for (SftpConnection.Listed file : files) {
        committed += take(file);
      }
      ailment.well();
    } catch (IOException e) {
      ailment.ill(String.valueOf(e.getMessage()));
    }
    return committed;
  }

  private boolean wanted(SftpConnection.Listed file) {
    try {
      return !file.name().startsWith(".") && pattern.matches(Path.of(file.name()));
    } catch (InvalidPathException e) {
      return false; // a name that this machine cannot write is matched by no pattern
    }
  }

  private int take(SftpConnection.Listed file) throws IOException {
    int committed = 0;
    if (!unmoved.contains(file)) {
      commit(file);
      committed = 1;
      unmoved.add(file);
    }
    if (connection.look(file.name()).filter(file::equals).isPresent()) {
      int number = 1;
      while (!connection.move(
          file.name(), settings.done(), DoneName.of(file.name(), clock.instant(), number))) {
        number++;
      }
    } // else it was replaced since: the new one is read at the next look
    unmoved.remove(file);
    return committed;
  }

  private void commit(SftpConnection.Listed file) throws IOException {
    Handover handover = new Handover(settings.name(), settings.kind(), file.name(), null, null);
    try (Counted bytes = new Counted(connection.read(file.name()))) {
      intake.receive(
          handover,
          bytes,
          () -> {
            // A connection that is lost may look like the end of the file.
            boolean whole = bytes.count() == file.size();
            if (!whole || connection.look(file.name()).filter(file::equals).isEmpty()) {
              throw new IOException(
                  "a file changed, or the connection was lost, while it was read");
            }
          });
    }
  }

  @Override
  public synchronized void close() {
    connection.close();
  }

  /** Counts what is read. */
  private static final class Counted extends InputStream {
    private final InputStream bytes;
    private long count;

    Counted(InputStream bytes) {
      this.bytes = bytes;
    }

    long count() {
      return count;
    }

    @Override
    public int read() throws IOException {
      int next;
      try {
        next = bytes.read();
      } catch (IOException e) {
        throw lost(e);
      }
      count += next < 0 ? 0 : 1;
      return next;
    }

    @Override
    public int read(byte[] into, int from, int length) throws IOException {
      int read;
      try {
        read = bytes.read(into, from, length);
      } catch (IOException e) {
        throw lost(e);
      }
      count += Math.max(0, read);
      return read;
    }

    /** The library's own words may quote the server. */
    private static IOException lost(IOException e) {
      return new IOException("the connection was lost while a file was read", e);
    }

    @Override
    public void close() throws IOException {
      bytes.close();
    }
  }
}
