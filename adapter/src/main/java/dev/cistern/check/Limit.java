// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import java.util.Arrays;
import java.util.Map;
import java.util.Optional;
import java.util.function.Function;
import java.util.stream.Collectors;

/** The numbers that a policy sets, each with the UCUM unit it is given in. */
public enum Limit {
  /** Above it a person should look. */
  REVIEW_VOLUME("reviewVolume", "mL"),
  /** Above it the unit may be another one. */
  UNIT_SUSPECTED_VOLUME("unitSuspectedVolume", "mL"),
  /** Above it the entry is held; never below 11,000. */
  REJECT_VOLUME("rejectVolume", "mL"),
  MINUTES_SINCE_VOID("minutesSinceVoid", "min"),
  MINUTES_SINCE_VOID_OF_A_CHILD("minutesSinceVoidOfAChild", "min"),
  /** Below it a patient counts as a child. */
  AGE_OF_A_CHILD("ageOfAChild", "a"),
  /** How far stated and computed minutes may differ, and how wrong a trusted clock may be. */
  CLOCK_DISAGREEMENT("clockDisagreement", "min"),
  /** How far after its arrival a result may claim to be measured. */
  CLOCK_TOLERANCE("clockTolerance", "min"),
  /** How many arrivals are needed before anything is said about a scanner's clock. */
  CLOCK_SAMPLES("clockSamples", "1"),
  /** How old arrivals may be from which a scanner's clock is judged. */
  CLOCK_WINDOW("clockWindow", "d"),
  /** Where no result arrives sooner after its scan, the clock may be behind. */
  CLOCK_LATENESS("clockLateness", "min"),
  /** How old a result may be when it arrives. */
  RESULT_AGE("resultAge", "d"),
  /** From this age on a result is not old: the scanner has lost its clock. */
  OLDEST_RESULT("oldestResult", "d"),
  /** Two scans of one exam number that are further apart are two exams. */
  ONE_EXAM("oneExam", "h"),
  SMALL_CHILD_HEIGHT("smallChildHeight", "cm"),
  SMALL_CHILD_WEIGHT("smallChildWeight", "kg"),
  LOWEST_COEFFICIENT("lowestCoefficient", "1"),
  HIGHEST_COEFFICIENT("highestCoefficient", "1"),
  /** How far outside the coefficients a volume may lie. */
  COEFFICIENT_TOLERANCE("coefficientTolerance", "%"),
  /** From it on a rejected entry is shown first and counted by the alarm. */
  ALARM_VOLUME("alarmVolume", "mL");

  private static final Map<String, Limit> BY_KEY =
      Arrays.stream(values()).collect(Collectors.toMap(Limit::key, Function.identity()));

  private final String key;
  private final String unit;

  Limit(String key, String unit) {
    this.key = key;
    this.unit = unit;
  }

  /** What the policy file calls it. */
  public String key() {
    return key;
  }

  public String unit() {
    return unit;
  }

  public static Optional<Limit> named(String key) {
    return Optional.ofNullable(BY_KEY.get(key));
  }
}
