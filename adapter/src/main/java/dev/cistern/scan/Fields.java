// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.scan;

import java.util.Collections;
import java.util.EnumMap;
import java.util.Map;
import org.jspecify.annotations.Nullable;

/**
 * The named fields of one entry, before anything is understood. A field whose source is missing or
 * blank is not in the map.
 */
public record Fields(Map<Field, FieldValue> values) {

  public static final Fields NONE = new Fields(Map.of());

  public Fields {
    EnumMap<Field, FieldValue> copy = new EnumMap<>(Field.class);
    copy.putAll(values);
    values = Collections.unmodifiableMap(copy);
  }

  public @Nullable FieldValue get(Field field) {
    return values.get(field);
  }

  /**
   * These fields with some replaced: the overlay of an amendment. A blank text removes the field.
   */
  public Fields overlaid(Map<Field, FieldValue> overlay) {
    EnumMap<Field, FieldValue> merged = new EnumMap<>(Field.class);
    merged.putAll(values);
    overlay.forEach(
        (field, value) -> {
          if (value.text().isBlank()) {
            merged.remove(field);
          } else {
            merged.put(field, value);
          }
        });
    return new Fields(merged);
  }

  /** Names the fields, never their values. */
  @Override
  public String toString() {
    return "Fields" + values.keySet();
  }
}
