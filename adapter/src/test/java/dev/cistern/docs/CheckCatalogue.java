// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.docs;

import dev.cistern.scan.Reason;
import java.util.ArrayList;
import java.util.List;

/** Writes what the program can find as a page of tables, one for each stage or group. */
final class CheckCatalogue {
  private final List<String> lines = new ArrayList<>();

  CheckCatalogue group(String title, String about, List<? extends Reason> reasons) {
    lines.add("");
    lines.add("### " + title);
    lines.add("");
    if (!about.isEmpty()) {
      lines.add(about);
      lines.add("");
    }
    lines.add("| code | severity | meaning | next step | source |");
    lines.add("|---|---|---|---|---|");
    reasons.forEach(reason -> lines.add(row(reason)));
    return this;
  }

  private static String row(Reason reason) {
    String severity = reason.severity().code() + (reason.fixed() ? ", fixed" : "");
    return "| `%s` | %s | %s | %s | %s |"
        .formatted(
            reason.code(),
            severity,
            cell(reason.words()),
            cell(reason.next()),
            cell(reason.source()));
  }

  private static String cell(String text) {
    return text.replace("|", "\\|").replace("<", "&lt;");
  }

  String page() {
    return String.join("\n", lines) + "\n";
  }
}
