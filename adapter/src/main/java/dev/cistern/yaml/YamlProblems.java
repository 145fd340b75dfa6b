// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.yaml;

import dev.cistern.scan.CisternException;
import java.util.List;
import java.util.stream.Collectors;

/** A file cannot be used; it lists every problem that was found, one a line. */
public final class YamlProblems extends CisternException {
  private static final long serialVersionUID = 1L;

  private final transient List<Problem> problems;

  public YamlProblems(List<Problem> problems) {
    super(problems.stream().map(Problem::toString).collect(Collectors.joining("\n")));
    if (problems.isEmpty()) {
      throw new IllegalArgumentException("there is no problem");
    }
    this.problems = List.copyOf(problems);
  }

  public List<Problem> problems() {
    return problems;
  }
}
