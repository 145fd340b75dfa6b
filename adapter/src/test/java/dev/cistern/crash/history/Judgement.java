// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.history;

import java.util.List;

/**
 * Whether one promise was kept.
 *
 * @param promise its number in the table of promises
 * @param name the promise in a few words
 * @param evidence what speaks against it; empty where it holds
 */
public record Judgement(int promise, String name, List<String> evidence) {
  private static final int SHOWN = 10;

  public Judgement {
    evidence = List.copyOf(evidence);
  }

  public boolean holds() {
    return evidence.isEmpty();
  }

  @Override
  public String toString() {
    if (holds()) {
      return promise + " " + name + ": holds";
    }
    String shown = String.join("; ", evidence.subList(0, Math.min(SHOWN, evidence.size())));
    String more = evidence.size() > SHOWN ? "; and " + (evidence.size() - SHOWN) + " more" : "";
    return promise + " " + name + ": VIOLATED: " + shown + more;
  }
}
