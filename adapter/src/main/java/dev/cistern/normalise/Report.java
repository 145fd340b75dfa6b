// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.normalise;

import dev.cistern.scan.Field;
import dev.cistern.scan.Fields;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Quote;
import java.util.ArrayList;
import java.util.List;
import java.util.Locale;
import java.util.stream.Stream;
import org.jspecify.annotations.Nullable;

/** Collects what one entry's fields were refused for, in sentences that keep the patient out. */
final class Report {
  private static final List<Field> PRIVATE =
      List.of(Field.PATIENT_ID, Field.PATIENT_NAME, Field.BIRTH_DATE);

  private final Fields fields;
  private final List<Finding> findings = new ArrayList<>();
  private @Nullable Quote quote;

  Report(Fields fields) {
    this.fields = fields;
  }

  List<Finding> findings() {
    return findings;
  }

  /** A field with its value: {@code Volume "1,234": sentence}. */
  void refuse(NormaliseReason reason, Field field, String value, String sentence) {
    String label = field.label().substring(0, 1).toUpperCase(Locale.ROOT);
    String shown = PRIVATE.contains(field) ? "" : " " + quoted(value);
    findings.add(reason.found(field, label + field.label().substring(1) + shown + ": " + sentence));
  }

  /** What is wrong with the entry, not with what a field says. */
  void lacks(NormaliseReason reason, @Nullable Field field) {
    findings.add(reason.found(field, reason.words()));
  }

  String quoted(String value) {
    if (quote == null) {
      quote =
          new Quote(
              PRIVATE.stream()
                  .map(fields::get)
                  .flatMap(v -> v == null ? Stream.empty() : Stream.of(v.text(), v.sent()))
                  .toList());
    }
    return quote.of(value);
  }
}
