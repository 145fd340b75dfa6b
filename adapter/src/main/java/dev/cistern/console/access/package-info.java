// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
/**
 * Says who somebody is and what they may: accounts, sessions, tokens, and the gate before every
 * page.
 */
@NullMarked
package dev.cistern.console.access;

import org.jspecify.annotations.NullMarked;
