// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
/**
 * Judges the promises from what senders, ledger, server and logs hold, without the adapter's code.
 */
@NullMarked
package dev.cistern.crash.history;

import org.jspecify.annotations.NullMarked;
