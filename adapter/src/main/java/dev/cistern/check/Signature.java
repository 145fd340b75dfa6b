// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import java.time.LocalDate;

/**
 * Who decided something of the policy, and when.
 *
 * @param source where the number comes from, in the author's words; empty where none is given
 */
public record Signature(String author, LocalDate date, String source) {}
