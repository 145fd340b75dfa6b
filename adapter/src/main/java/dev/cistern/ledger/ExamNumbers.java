// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Refined;
import dev.cistern.scan.Scan;
import dev.cistern.scan.SequenceReason;
import java.time.Duration;
import java.time.OffsetDateTime;
import java.time.format.DateTimeFormatter;
import java.util.Optional;
import org.jspecify.annotations.Nullable;

/** Tells an exam number that a device gave twice from two accounts of the same exam. */
final class ExamNumbers {
  private ExamNumbers() {}

  /**
   * What to say where the entry that is in the way was measured at quite another time, and this one
   * does not claim to correct it.
   */
  static Optional<Finding> reused(Tx tx, Refined refined, long other) {
    Scan scan = refined.scan();
    if (scan.handling().examId() == null || Filing.isCorrection(scan.measurement().status())) {
      return Optional.empty();
    }
    OffsetDateTime here = scan.measurement().measuredAt();
    OffsetDateTime there = measuredAt(tx, other);
    if (here == null
        || there == null
        || Duration.between(there, here).abs().compareTo(refined.oneExam()) <= 0) {
      return Optional.empty();
    }
    return Optional.of(
        SequenceReason.EXAM_NUMBER_REUSED.found(
            Field.EXAM_ID,
            "Entry "
                + other
                + " has the same exam number of the same device and was measured at "
                + text(there)
                + ", this one at "
                + text(here)
                + "."));
  }

  private static @Nullable OffsetDateTime measuredAt(Tx tx, long entry) {
    Scan scan = Records.entry(tx.handle(), entry).orElseThrow().scan();
    return scan == null ? null : scan.measurement().measuredAt();
  }

  private static String text(OffsetDateTime time) {
    return DateTimeFormatter.ISO_OFFSET_DATE_TIME.format(time);
  }
}
