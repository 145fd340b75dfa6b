// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.fhir.CodeBook;
import dev.cistern.fhir.FhirSettings;
import dev.cistern.fhir.InterpretationTable;
import dev.cistern.fhir.Terms;
import dev.cistern.ledger.Entry;
import java.time.Instant;
import java.util.Map;
import java.util.NavigableMap;
import java.util.Objects;
import java.util.concurrent.ConcurrentHashMap;
import java.util.concurrent.ConcurrentSkipListMap;

/**
 * By which tables a result is written while they may change. What a site calls high or low is that
 * of the policy under which the entry was checked; codes are those in use when it is sent, and for
 * one that was sent, those that were in use then: else reading it back would find it another.
 */
public final class TermsInUse {
  private final Map<String, InterpretationTable> byPolicy = new ConcurrentHashMap<>();
  private final NavigableMap<Instant, CodeBook> codes = new ConcurrentSkipListMap<>();
  private volatile InterpretationTable latest;

  TermsInUse(FhirSettings settings) {
    codes.put(Instant.EPOCH, settings.codes());
    latest = settings.interpretation();
  }

  /**
   * What a policy calls high or low.
   *
   * @param policy {@code name@version}
   */
  public void know(String policy, InterpretationTable table) {
    byPolicy.put(policy, table);
  }

  /** The same for the policy in use, which stands in for one that is not known any more. */
  public void use(String policy, InterpretationTable table) {
    know(policy, table);
    latest = table;
  }

  /** The codes since a moment, until those of a later one. */
  public void use(Instant since, CodeBook table) {
    codes.put(since, table);
  }

  /** The codes in use now. */
  public CodeBook codes() {
    return Objects.requireNonNull(codes.lastEntry()).getValue();
  }

  Terms of(Entry entry) {
    InterpretationTable known = entry.policy() == null ? null : byPolicy.get(entry.policy());
    return new Terms(codesOf(entry), known == null ? latest : known);
  }

  private CodeBook codesOf(Entry entry) {
    Instant sent = entry.deliveredAt();
    Map.Entry<Instant, CodeBook> then = sent == null ? null : codes.floorEntry(sent);
    return then == null ? codes() : then.getValue();
  }
}
