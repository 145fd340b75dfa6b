// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import dev.cistern.scan.Status;
import java.util.List;
import org.jspecify.annotations.Nullable;

/**
 * Which of several versions of the same result wins. The sender's revision number decides where it
 * gives one (none counts as 0); else the status does: preliminary, final, corrected or amended,
 * withdrawn, in this order. The order of arrival decides nothing, and neither do we where the
 * sender leaves it open.
 */
final class Succession {
  private Succession() {}

  /** What orders a version, and tells it from another one. */
  record Version(@Nullable Integer revision, Status status, String content) {}

  /**
   * A version that the ledger holds.
   *
   * @param claimed whether it was ever on its way to the server, and so may be there
   */
  record Known(long entry, EntryState state, Version version, boolean claimed) {}

  /** What becomes of a version that is new to the ledger. */
  sealed interface Decision {
    /** No other version is known. */
    record First() implements Decision {}

    /** Exactly this is known already. */
    record SameAs(long entry) implements Decision {}

    /** A newer one is known. */
    record OlderThan(long entry) implements Decision {}

    /** It is the newest. */
    record NewerThan(long entry) implements Decision {}

    /** The same version with other content. */
    record Conflict(long entry) implements Decision {}

    /** Two corrections, and nothing says which came later. */
    record Unclear(long entry) implements Decision {}
  }

  private enum Order {
    OLDER,
    NEWER,
    CONFLICT,
    UNCLEAR
  }

  static Decision decide(Version candidate, List<Known> known) {
    List<Known> accepted = known.stream().filter(k -> k.state() != EntryState.REJECTED).toList();
    for (Known other : accepted) {
      if (other.version().content().equals(candidate.content())) {
        return new Decision.SameAs(other.entry());
      }
    }
    Known head = head(accepted);
    if (head == null) {
      return new Decision.First();
    }
    return switch (compare(candidate, head.version())) {
      case OLDER -> new Decision.OlderThan(head.entry());
      case NEWER -> new Decision.NewerThan(head.entry());
      case CONFLICT -> new Decision.Conflict(head.entry());
      case UNCLEAR -> new Decision.Unclear(head.entry());
    };
  }

  /** Whether the sender says that {@code a} comes before {@code b}. */
  static boolean isOlder(Version a, Version b) {
    return compare(a, b) == Order.OLDER;
  }

  /**
   * The newest version that was accepted; null where there is none. One that was superseded counts
   * too: what superseded it may have been refused by the server since, which makes nothing that is
   * older still the newest.
   */
  private static @Nullable Known head(List<Known> accepted) {
    Known head = null;
    for (Known k : accepted) {
      if (head == null || compare(k.version(), head.version()) == Order.NEWER) {
        head = k;
      }
    }
    return head;
  }

  private static Order compare(Version a, Version b) {
    int byNumber = Integer.compare(number(a), number(b));
    if (byNumber != 0) {
      return byNumber < 0 ? Order.OLDER : Order.NEWER;
    }
    if (a.revision() != null && b.revision() != null) {
      return Order.CONFLICT;
    }
    int byRank = Integer.compare(rank(a.status()), rank(b.status()));
    if (byRank != 0) {
      return byRank < 0 ? Order.OLDER : Order.NEWER;
    }
    return rank(a.status()) < rank(Status.CORRECTED) ? Order.CONFLICT : Order.UNCLEAR;
  }

  private static int number(Version version) {
    Integer revision = version.revision();
    return revision == null ? 0 : revision;
  }

  private static int rank(Status status) {
    return switch (status) {
      case PRELIMINARY -> 0;
      case FINAL -> 1;
      case CORRECTED, AMENDED -> 2;
      case ENTERED_IN_ERROR, CANCELLED -> 3;
    };
  }
}
