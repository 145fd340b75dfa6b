// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.intake.Settling;
import java.io.File;
import java.nio.file.FileSystems;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.PathMatcher;
import java.time.Clock;
import java.time.Duration;
import org.apache.camel.component.file.GenericFile;
import org.apache.camel.component.file.GenericFileFilter;

/**
 * Accepts a file when its name fits, and its size and time have stayed the same for long enough: a
 * file that is still being written is left alone. Hidden files, links and temporary names are never
 * taken.
 */
final class Settled implements GenericFileFilter<File> {
  private final PathMatcher pattern;
  private final Settling settling;

  Settled(String pattern, Duration settle, Clock clock) {
    this.pattern = FileSystems.getDefault().getPathMatcher("glob:" + pattern);
    this.settling = new Settling(settle, clock);
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
    return settling.isSettled(
        file.getAbsoluteFilePath(), file.getFileLength(), file.getLastModified());
  }
}
