// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
/** How fast the adapter is, measured beside plain programs that do less; run by {@code -Pbench}. */
@NullMarked
package dev.cistern.bench;

import org.jspecify.annotations.NullMarked;
