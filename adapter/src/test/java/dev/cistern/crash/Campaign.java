// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash;

/** How much is tried: a slice in every build, everything with {@code -Pcampaign}. */
final class Campaign {
  static final boolean FULL = Boolean.getBoolean("cistern.campaign");
  static final long SEED = Long.getLong("cistern.seed", 20261124L);

  private Campaign() {}

  /** So many in every build, so many in a campaign, or as many as a property says. */
  static int count(String property, int slice, int campaign) {
    return Integer.getInteger(property, FULL ? campaign : slice);
  }
}
