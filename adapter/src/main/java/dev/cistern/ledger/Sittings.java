// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import dev.cistern.scan.Answer;
import dev.cistern.scan.Coded;
import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Refined;
import dev.cistern.scan.Scan;
import dev.cistern.scan.SequenceReason;
import dev.cistern.scan.Status;
import java.time.Duration;
import java.util.List;
import java.util.Objects;
import java.util.Optional;
import java.util.Set;

/**
 * The scans of one sitting: the same exam of the same device, each with its number. Every one is
 * kept; whoever scanned accepts one of them at most.
 */
final class Sittings {
  /** What filing finds, and finds anew. */
  private static final Set<String> WHEN_FILED =
      Set.of(SequenceReason.ACCEPTED_TWICE.code(), SequenceReason.EXAM_NUMBER_GAP.code());

  private Sittings() {}

  /** What to say where another scan of the sitting is accepted too, and counts. */
  static Optional<Finding> acceptedTwice(Tx tx, Refined refined) {
    if (!isAccepted(refined.scan())) {
      return Optional.empty();
    }
    List<Entry> others =
        all(tx, refined).stream()
            .filter(e -> e.state() != EntryState.REJECTED)
            .filter(e -> !Objects.equals(e.key(), refined.key()))
            .toList();
    return others.stream()
        .filter(other -> others.stream().noneMatch(newer -> replaces(newer, other)))
        .filter(other -> isAccepted(other.scan()) && samePatient(other, refined))
        .findFirst()
        .map(
            other ->
                SequenceReason.ACCEPTED_TWICE.found(
                    Field.ACCEPTED,
                    "Entry "
                        + other.id()
                        + " is another scan of the same sitting, and is called the accepted one"
                        + " too."));
  }

  /** The scans of the same sitting that are held for nothing but that. */
  static List<Entry> held(Tx tx, Refined refined) {
    return all(tx, refined).stream()
        .filter(entry -> entry.state() == EntryState.REJECTED && entry.scan() != null)
        .filter(entry -> again(entry, refined.oneExam()).accepted())
        .filter(entry -> SequenceReason.ACCEPTED_TWICE.code().equals(entry.code()))
        .toList();
  }

  /**
   * What refining made of a held scan, before it was held.
   *
   * @param oneExam as of the scan that lets it go: they are of one sitting of one device
   */
  static Refined again(Entry held, Duration oneExam) {
    return new Refined(
        held.place(),
        Objects.requireNonNull(held.scan()),
        held.key(),
        held.findings().stream().filter(finding -> !WHEN_FILED.contains(finding.code())).toList(),
        Objects.requireNonNullElse(held.mapping(), ""),
        Objects.requireNonNullElse(held.policy(), ""),
        oneExam);
  }

  private static List<Entry> all(Tx tx, Refined refined) {
    Scan scan = refined.scan();
    if (refined.key() == null || scan.handling().scanNumber() == null) {
      return List.of();
    }
    return tx.handle()
        .createQuery(Sql.of("entry-sitting"))
        .bind("serial", scan.device().serial())
        .bind("exam", scan.handling().examId())
        .map((rs, context) -> Entry.read(rs))
        .list();
  }

  /** A scan that was withdrawn or cancelled is accepted by nobody. */
  private static boolean isAccepted(@org.jspecify.annotations.Nullable Scan scan) {
    return scan != null
        && scan.handling().accepted() == Answer.YES
        && scan.measurement().status() != Status.ENTERED_IN_ERROR
        && scan.measurement().status() != Status.CANCELLED;
  }

  /** Two patients have no sitting in common: one of the numbers is about to be corrected. */
  static boolean samePatient(Entry other, Refined refined) {
    Scan scan = other.scan();
    return scan != null
        && Objects.equals(scan.subject().patientId(), refined.scan().subject().patientId())
        && Objects.equals(
            scan.subject().patientIdSystem(), refined.scan().subject().patientIdSystem());
  }

  private static boolean replaces(Entry newer, Entry older) {
    return Objects.equals(newer.keyHash(), older.keyHash())
        && Succession.isOlder(version(older), version(newer));
  }

  private static Succession.Version version(Entry entry) {
    return new Succession.Version(
        entry.revision(),
        Coded.of(Status.class, String.valueOf(entry.status())).orElseThrow(),
        String.valueOf(entry.contentHash()));
  }
}
