// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import org.jspecify.annotations.Nullable;

/**
 * Where a field's unit comes from: the mapping itself or another source beside the value. One of
 * the two is null.
 */
public record UnitRule(@Nullable String fixed, @Nullable String from) {}
