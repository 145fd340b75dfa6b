// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import dev.cistern.ledger.Entry;
import dev.cistern.mapping.UnmappedCode;
import dev.cistern.plant.Plant;
import dev.cistern.scan.CisternException;
import dev.cistern.scan.Coded;
import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import java.util.List;
import java.util.Optional;

/**
 * A row that a code table lacks, as an entry showed it.
 *
 * @param words what the code can mean; none where the field takes any text
 */
public record NewRow(Field field, UnmappedCode code, List<String> words) {
  public NewRow {
    words = List.copyOf(words);
  }

  /** Out of what was found about a field of an entry: the code itself stands in no address. */
  static NewRow of(Plant plant, long entry, String field) {
    Field about =
        Field.named(field).orElseThrow(() -> new CisternException("There is no such field."));
    return plant.ledger().records().entry(entry).map(Entry::findings).orElse(List.of()).stream()
        .filter(finding -> finding.field() == about)
        .map(Finding::message)
        .map(UnmappedCode::in)
        .flatMap(Optional::stream)
        .findFirst()
        .map(code -> new NewRow(about, code, Coded.wordsOf(about)))
        .orElseThrow(
            () -> new CisternException("The entry lacks no code for this field any more."));
  }

  /** Never shows the code. */
  @Override
  public String toString() {
    return "NewRow[" + field.key() + "]";
  }
}
