// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import java.time.LocalDate;
import java.util.regex.Matcher;
import java.util.regex.Pattern;

/**
 * Signs the text of a policy: its version one higher, with an author and a day. Only lines that
 * begin at the margin are touched, so that who decided a single number stays.
 */
record PolicySignature(String author, LocalDate day) {
  private static final Pattern VERSION =
      Pattern.compile("(?m)^version:[ \\t]*[\"']?(\\d{1,8})[\"']?[ \\t]*(#.*)?$");
  private static final Pattern AUTHOR = Pattern.compile("(?m)^author:.*$");
  private static final Pattern DATE = Pattern.compile("(?m)^date:.*$");

  /** The text to begin with, where a site has none of its own. */
  String beginning() {
    return """
        # What this site decides otherwise than the policy as shipped; everything else stays as that says.
        # Give the policy a name. Findings name it, with its version. Each number may carry an author, a
        # date and a source of its own.
        policy: our-site
        version: 1
        author: "%s"
        date: %s
        source: ""

        limits:
          # From this volume on, a rejected entry is shown first and counted by the alarm.
          alarmVolume: { value: 500, unit: mL }
        """
        .formatted(author, day);
  }

  String sign(String text) {
    Matcher version = VERSION.matcher(text);
    String raised =
        version.find()
            ? text.substring(0, version.start(1))
                + (Integer.parseInt(version.group(1)) + 1)
                + text.substring(version.end(1))
            : text;
    String signed =
        AUTHOR.matcher(raised).replaceFirst(Matcher.quoteReplacement("author: \"" + author + "\""));
    return DATE.matcher(signed).replaceFirst("date: " + day);
  }
}
