// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.plant;

import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.LinkOption;
import java.nio.file.Path;
import java.nio.file.attribute.PosixFileAttributeView;
import java.nio.file.attribute.PosixFilePermission;
import java.nio.file.attribute.PosixFilePermissions;
import java.util.EnumSet;
import java.util.List;
import java.util.Set;
import java.util.TreeSet;
import java.util.stream.Stream;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/**
 * Keeps what holds patient data or secrets from other users of the machine. A folder that is made
 * anew, and every file in it, is the owner's alone; a folder that was there already is left as the
 * site has it, and {@code check} says where others can read it. File systems that know no
 * permissions are left alone.
 */
public final class PrivateFolder {
  private static final Logger log = LoggerFactory.getLogger(PrivateFolder.class);
  private static final Set<PosixFilePermission> OTHERS =
      EnumSet.of(
          PosixFilePermission.GROUP_READ,
          PosixFilePermission.GROUP_WRITE,
          PosixFilePermission.OTHERS_READ,
          PosixFilePermission.OTHERS_WRITE);

  private PrivateFolder() {}

  /** Makes the folder, mode 0700, where it is not there yet. */
  static void make(Path folder) {
    try {
      if (!Files.isDirectory(folder)) {
        Path parent = folder.toAbsolutePath().getParent();
        if (parent != null) {
          Files.createDirectories(parent);
        }
        if (knows(parent == null ? folder : parent)) {
          Files.createDirectory(
              folder,
              PosixFilePermissions.asFileAttribute(PosixFilePermissions.fromString("rwx------")));
        }
      }
    } catch (IOException e) {
      // Whoever needs the folder says so in words that fit.
      log.debug("the data folder was not made: {}", e.getClass().getName());
    }
  }

  /** Takes from others what the adapter itself wrote into the folder. */
  static void close(Path folder) {
    try (Stream<Path> files = Files.list(folder)) {
      for (Path file :
          files.filter(each -> Files.isRegularFile(each, LinkOption.NOFOLLOW_LINKS)).toList()) {
        if (knows(file) && Files.isWritable(file) && !open(file).isEmpty()) {
          Files.setPosixFilePermissions(file, PosixFilePermissions.fromString("rw-------"));
        }
      }
    } catch (IOException e) {
      log.warn(
          "the files in the data folder could not be closed to others: {}",
          e.getClass().getSimpleName());
    }
  }

  private static boolean knows(Path path) {
    return Files.getFileAttributeView(path, PosixFileAttributeView.class) != null;
  }

  private static Set<PosixFilePermission> open(Path path) throws IOException {
    Set<PosixFilePermission> open = new TreeSet<>(Files.getPosixFilePermissions(path));
    open.retainAll(OTHERS);
    return open;
  }

  /** One sentence for each of these files and folders that others than its owner can read. */
  public static List<String> remarks(Stream<Path> paths) {
    return paths
        .distinct()
        .filter(Files::exists)
        .filter(PrivateFolder::isOpen)
        .map(
            path ->
                path
                    + " can be read or written by others than its owner; run chmod go-rwx on it,"
                    + " unless your site means it so")
        .toList();
  }

  private static boolean isOpen(Path path) {
    try {
      return knows(path) && !open(path).isEmpty();
    } catch (IOException e) {
      return false;
    }
  }
}
