// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
/** Tells others that urgent results wait for a person. */
@NullMarked
package dev.cistern.alarm;

import org.jspecify.annotations.NullMarked;
