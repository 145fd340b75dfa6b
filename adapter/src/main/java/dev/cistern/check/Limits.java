// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import java.util.EnumMap;
import java.util.List;
import java.util.Map;
import org.jspecify.annotations.Nullable;

/**
 * The numbers of a policy, some of them different for a model or a ward.
 *
 * @param general every {@link Limit}
 * @param overrides in the order of the file: a later one wins
 */
public record Limits(Map<Limit, Setting> general, List<Deviation> overrides) {

  public Limits {
    general = copy(general);
    overrides = List.copyOf(overrides);
    for (Limit limit : Limit.values()) {
      if (!general.containsKey(limit)) {
        throw new IllegalArgumentException("the policy does not set " + limit.key());
      }
    }
  }

  /** Numbers for one model, one ward, or one model on one ward. */
  public record Deviation(
      @Nullable String model, @Nullable String ward, Map<Limit, Setting> settings) {
    public Deviation {
      settings = copy(settings);
    }

    boolean isFor(@Nullable String model, @Nullable String ward) {
      return (this.model == null || this.model.equals(model))
          && (this.ward == null || this.ward.equals(ward));
    }
  }

  private static Map<Limit, Setting> copy(Map<Limit, Setting> settings) {
    EnumMap<Limit, Setting> copy = new EnumMap<>(Limit.class);
    copy.putAll(settings);
    return java.util.Collections.unmodifiableMap(copy);
  }

  public Setting of(Limit limit, @Nullable String model, @Nullable String ward) {
    for (int i = overrides.size() - 1; i >= 0; i--) {
      Setting setting = overrides.get(i).settings().get(limit);
      if (setting != null && overrides.get(i).isFor(model, ward)) {
        return setting;
      }
    }
    return of(limit);
  }

  /** The number that holds where nothing else is said. */
  public Setting of(Limit limit) {
    Setting setting = general.get(limit);
    if (setting == null) {
      throw new IllegalStateException("the policy does not set " + limit.key());
    }
    return setting;
  }
}
