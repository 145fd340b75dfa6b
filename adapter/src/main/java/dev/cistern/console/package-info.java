// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
/**
 * The pages on which people see what came, what was delivered and what needs them, and put it
 * right.
 */
@NullMarked
package dev.cistern.console;

import org.jspecify.annotations.NullMarked;
