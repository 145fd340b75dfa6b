// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
/** Senders of every kind, which know what they mean and remember what they were told. */
@NullMarked
package dev.cistern.crash.load;

import org.jspecify.annotations.NullMarked;
