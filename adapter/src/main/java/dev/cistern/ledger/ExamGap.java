// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Refined;
import dev.cistern.scan.SequenceReason;
import java.util.Collection;
import java.util.HashMap;
import java.util.HashSet;
import java.util.List;
import java.util.Map;
import java.util.Optional;
import java.util.Set;
import java.util.regex.Pattern;
import org.jspecify.annotations.Nullable;

/**
 * Notices that a device's exams before one are missing when it arrives. Results that are filed
 * together count as arrived, in whatever order they stand, so that a file in its usual order costs
 * one look-up, and not one for each line. Whether a gap still stands, {@link Reconciliation} tells.
 */
final class ExamGap {
  /** More are not looked for. */
  private static final int MOST = 20;

  private static final Pattern NUMBER = Pattern.compile("[0-9]{1,18}");

  private final Map<String, Set<Long>> together = new HashMap<>();

  ExamGap(Collection<Refined> batch) {
    for (Refined refined : batch) {
      Exam exam = exam(refined);
      if (exam != null) {
        together.computeIfAbsent(exam.deviceSerial(), device -> new HashSet<>()).add(exam.number());
      }
    }
  }

  /** An exam of a device that numbers them. */
  private record Exam(String deviceSerial, String text, long number) {
    /** Never shows the text: a sender may have put a patient into it. */
    @Override
    public String toString() {
      return "Exam[" + deviceSerial + "]";
    }

    /** An earlier number, written as this one is: with leading zeros where it has some. */
    String written(long other) {
      String plain = Long.toString(other);
      return text.startsWith("0") && plain.length() < text.length()
          ? "0".repeat(text.length() - plain.length()) + plain
          : plain;
    }
  }

  private static @Nullable Exam exam(Refined refined) {
    String device = refined.scan().device().serial();
    String text = refined.scan().handling().examId();
    return device == null || text == null || !NUMBER.matcher(text).matches()
        ? null
        : new Exam(device, text, Long.parseLong(text));
  }

  /** What to say of an entry that is being filed. */
  Optional<Finding> before(Tx tx, Refined refined) {
    Exam exam = exam(refined);
    if (exam == null || exam.number() < 1 || has(tx, exam, exam.number() - 1)) {
      return Optional.empty();
    }
    if (!hasAnyBefore(tx, exam)) {
      return Optional.empty();
    }
    long first = exam.number() - 1;
    while (first > 0 && exam.number() - first < MOST && !has(tx, exam, first - 1)) {
      first--;
    }
    return Optional.of(SequenceReason.EXAM_NUMBER_GAP.found(Field.EXAM_ID, words(exam, first, tx)));
  }

  private String words(Exam exam, long first, Tx tx) {
    long last = exam.number() - 1;
    if (first == last) {
      return "Exam " + exam.written(last) + " of this scanner has not arrived so far.";
    }
    boolean more = first > 0 && !has(tx, exam, first - 1);
    return "Exams "
        + (more ? "before and up to " : exam.written(first) + " to ")
        + exam.written(last)
        + " of this scanner have not arrived so far"
        + (more ? ", more than " + MOST : "")
        + ".";
  }

  private boolean has(Tx tx, Exam exam, long number) {
    return together.getOrDefault(exam.deviceSerial(), Set.of()).contains(number)
        || Direct.of(tx, "exam-known")
            .bind("device", exam.deviceSerial())
            .bind("exam", exam.written(number))
            .first(rs -> rs.getBoolean(1))
            .orElse(false);
  }

  /** Of a device that is new to us, nobody knows where its numbers begin. */
  private boolean hasAnyBefore(Tx tx, Exam exam) {
    for (long number : together.getOrDefault(exam.deviceSerial(), Set.of())) {
      if (number < exam.number()) {
        return true;
      }
    }
    List<String> lowest =
        tx.handle()
            .createQuery(Sql.of("exam-lowest"))
            .bind("device", exam.deviceSerial())
            .mapTo(String.class)
            .list();
    return lowest.stream()
        .anyMatch(text -> NUMBER.matcher(text).matches() && Long.parseLong(text) < exam.number());
  }
}
