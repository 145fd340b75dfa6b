// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
/**
 * Carries the head of the audit trail off this host, and compares what was carried with the chain.
 */
@NullMarked
package dev.cistern.ship;

import org.jspecify.annotations.NullMarked;
