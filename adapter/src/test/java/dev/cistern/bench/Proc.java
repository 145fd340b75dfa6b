// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bench;

import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.List;

/** What Linux says about a process that still runs. */
final class Proc {
  private static final int USER_TICKS = 13;
  private static final int SYSTEM_TICKS = 14;
  private static final double TICKS_PER_SECOND = 100; // USER_HZ, the same on every Linux of today

  private Proc() {}

  /** User and system time, in seconds. */
  static double cpuSeconds(long pid) throws IOException {
    String stat = Files.readString(Path.of("/proc/" + pid + "/stat"));
    // The name of the program may hold blanks: count from behind it.
    String[] fields = stat.substring(stat.lastIndexOf(')') + 2).split(" ");
    return (Long.parseLong(fields[USER_TICKS - 2]) + Long.parseLong(fields[SYSTEM_TICKS - 2]))
        / TICKS_PER_SECOND;
  }

  /** The most memory that it ever held, in MB. */
  static long peakMegabytes(long pid) throws IOException {
    return number(Files.readAllLines(Path.of("/proc/" + pid + "/status")), "VmHWM:") / 1024;
  }

  /** What it had written to disks, in bytes. */
  static long writtenBytes(long pid) throws IOException {
    return number(Files.readAllLines(Path.of("/proc/" + pid + "/io")), "write_bytes:");
  }

  private static long number(List<String> lines, String name) {
    return lines.stream()
        .filter(line -> line.startsWith(name))
        .map(line -> line.replaceAll("[^0-9]", ""))
        .mapToLong(Long::parseLong)
        .findFirst()
        .orElseThrow();
  }
}
