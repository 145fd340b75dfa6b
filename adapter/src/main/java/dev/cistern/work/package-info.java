// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
/**
 * What people do with entries, for commands and pages alike: look at one whole, try out, process
 * again.
 */
@NullMarked
package dev.cistern.work;

import org.jspecify.annotations.NullMarked;
