// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import dev.cistern.scan.Field;
import dev.cistern.scan.Reading;
import java.util.List;
import org.jspecify.annotations.Nullable;

/**
 * How one canonical field is filled.
 *
 * @param from the sources whose texts are joined with a blank; empty where the text is fixed
 * @param fixed the text where there is no source ({@code constant}), or the source is blank ({@code
 *     defaults}); null for none
 * @param optional whether a delimited file may lack the column
 */
public record FieldRule(
    Field field,
    List<String> from,
    @Nullable String fixed,
    @Nullable CodeTable codes,
    @Nullable UnitRule unit,
    boolean optional,
    Reading reading) {
  public FieldRule {
    from = List.copyOf(from);
  }
}
