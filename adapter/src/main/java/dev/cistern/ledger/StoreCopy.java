// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.io.IOException;
import java.nio.channels.FileChannel;
import java.nio.file.FileSystems;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.StandardCopyOption;
import java.nio.file.StandardOpenOption;
import java.nio.file.attribute.FileAttribute;
import java.nio.file.attribute.PosixFilePermissions;
import org.jdbi.v3.core.Handle;
import org.jdbi.v3.core.Jdbi;
import org.jdbi.v3.core.JdbiException;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;
import org.sqlite.SQLiteConfig;
import org.sqlite.SQLiteDataSource;

/**
 * Copies a store as it is at one moment, while others go on writing to it. The store is only read,
 * and not upgraded: a copy can be made before a new version of the program touches it.
 */
public final class StoreCopy {
  private static final Logger log = LoggerFactory.getLogger(StoreCopy.class);
  private static final int BUSY_MILLIS = 30_000;

  private StoreCopy() {}

  /**
   * Writes the copy. It gets its name when it was synced and read: a file of that name is whole.
   * Only its owner may read it.
   *
   * @param folder the data folder
   * @param file where nothing is yet
   * @return what the trail in the copy says
   * @throws LedgerUnavailable where it cannot be written
   * @throws LedgerDamaged where the copy does not read well: then the store does not, or the disk
   *     that the copy went to
   */
  public static Trail.Verdict write(Path folder, Path file) {
    Path part = file.resolveSibling(file.getFileName() + ".part");
    try {
      Files.deleteIfExists(part);
      Files.createFile(part, ownersOnly());
      copy(folder.resolve(Ledger.FILE), part);
      try (FileChannel written = FileChannel.open(part, StandardOpenOption.WRITE)) {
        written.force(true);
      }
      Trail.Verdict verdict = verify(part);
      Files.move(part, file, StandardCopyOption.ATOMIC_MOVE);
      return verdict;
    } catch (IOException | JdbiException e) {
      discard(part);
      throw new LedgerUnavailable(
          "the copy "
              + file
              + " cannot be written; check the path, its permissions, and the space there",
          e);
    }
  }

  /** Half a copy holds patients' data and is of no use. */
  private static void discard(Path part) {
    try {
      Files.deleteIfExists(part);
    } catch (IOException e) {
      log.warn("{} could not be deleted; delete it by hand", part, e);
    }
  }

  private static FileAttribute<?>[] ownersOnly() {
    return FileSystems.getDefault().supportedFileAttributeViews().contains("posix")
        ? new FileAttribute<?>[] {
          PosixFilePermissions.asFileAttribute(PosixFilePermissions.fromString("rw-------"))
        }
        : new FileAttribute<?>[0];
  }

  private static void copy(Path store, Path part) {
    try (Handle handle = open(store)) {
      handle.createUpdate("VACUUM INTO :file").bind("file", part.toString()).execute();
    }
  }

  private static Trail.Verdict verify(Path copy) {
    try (Handle handle = open(copy)) {
      String said = handle.createQuery("PRAGMA integrity_check(1)").mapTo(String.class).first();
      if (!said.equals("ok")) {
        throw new LedgerDamaged("its copy " + copy + " is not whole (" + said + ")");
      }
      return Trail.verify(handle);
    }
  }

  private static Handle open(Path file) {
    SQLiteConfig config = new SQLiteConfig();
    config.setReadOnly(true);
    config.setBusyTimeout(BUSY_MILLIS);
    SQLiteDataSource source = new SQLiteDataSource(config);
    source.setUrl("jdbc:sqlite:" + file);
    return Engine.speaking(Jdbi.create(source), "sqlite").open();
  }
}
