// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
/**
 * Numbers for those who watch the adapter from outside: none of them says anything of a patient.
 */
@NullMarked
package dev.cistern.meter;

import org.jspecify.annotations.NullMarked;
