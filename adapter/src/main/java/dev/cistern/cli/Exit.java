// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

/** The exit codes. */
final class Exit {
  static final int DONE = 0;

  /** Done, and something was rejected or does not hold. */
  static final int NOT_ALL_WELL = 1;

  /** Wrong usage or configuration. */
  static final int USAGE = 2;

  /** A broken machine: store, network. */
  static final int BROKEN = 3;

  private Exit() {}
}
