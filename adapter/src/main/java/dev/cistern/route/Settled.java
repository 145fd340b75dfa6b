// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import java.io.File;
import java.nio.file.FileSystems;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.PathMatcher;
import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
import java.util.HashMap;
import java.util.Iterator;
import java.util.Map;
import org.apache.camel.component.file.GenericFile;
import org.apache.camel.component.file.GenericFileFilter;

/**
 * Accepts a file when its name fits, and its size and time have stayed the same for long enough: a
 * file that is still being written is left alone. Hidden files, links and temporary names are never
 * taken.
 */
final class Settled implements GenericFileFilter<File> {
  private static final Duration FORGET_AFTER = Duration.ofMinutes(10);

  private record Look(long length, long modified, Instant since, Instant last) {}

  private final Map<String, Look> looks = new HashMap<>();
  private final PathMatcher pattern;
  private final Duration settle;
  private final Clock clock;

  Settled(String pattern, Duration settle, Clock clock) {
    this.pattern = FileSystems.getDefault().getPathMatcher("glob:" + pattern);
    this.settle = settle;
    this.clock = clock;
  }

  @Override
  public boolean accept(GenericFile<File> file) {
    if (file.isDirectory()) {
      return !file.getFileNameOnly().startsWith(".");
    }
    if (!pattern.matches(Path.of(file.getFileNameOnly()))) {
      return false;
    }
    if (Files.isSymbolicLink(Path.of(file.getAbsoluteFilePath()))) {
      return false;
    }
    if (settle.isZero()) {
      return true;
    }
    Instant now = clock.instant();
    forgetOld(now);
    String path = file.getAbsoluteFilePath();
    Look before = looks.get(path);
    Instant since = now;
    if (before != null
        && before.length() == file.getFileLength()
        && before.modified() == file.getLastModified()
        && before.since().isBefore(now)) { // else the clock was set back
      since = before.since();
    }
    looks.put(path, new Look(file.getFileLength(), file.getLastModified(), since, now));
    return !since.plus(settle).isAfter(now);
  }

  private void forgetOld(Instant now) {
    Iterator<Look> each = looks.values().iterator();
    while (each.hasNext()) {
      if (each.next().last().plus(FORGET_AFTER).isBefore(now)) {
        each.remove();
      }
    }
  }
}
