// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.load;

import java.util.List;
import java.util.Random;
import java.util.Set;
import java.util.TreeSet;

/** The patients of a run. Such numbers are never issued. */
public final class People {
  /** The identifier system that the settings give to patient numbers. */
  public static final String SYSTEM = "urn:oid:2.999.1.1";

  public static final List<String> KNOWN = List.of("9990000018", "9990000026", "9990000034");

  /** No record has this number. */
  public static final String NOBODY = "9990000042";

  /** Two records have this number. */
  public static final String TWINS = "9990000050";

  static final String NAME = "Quillfeather";

  private People() {}

  static String any(Random random) {
    return KNOWN.get(random.nextInt(KNOWN.size()));
  }

  static String another(String patient) {
    return KNOWN.get((KNOWN.indexOf(patient) + 1) % KNOWN.size());
  }

  /** What says who a patient is. */
  public static Set<String> secrets() {
    Set<String> secrets = new TreeSet<>(KNOWN);
    secrets.addAll(List.of(NOBODY, TWINS, NAME));
    return secrets;
  }
}
