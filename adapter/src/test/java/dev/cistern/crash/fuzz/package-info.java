// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
/** Spoilt samples, thrown at every decoder and at what follows it. */
@NullMarked
package dev.cistern.crash.fuzz;

import org.jspecify.annotations.NullMarked;
