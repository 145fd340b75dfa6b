// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

/** One record of the input, in which sources can be looked up. */
interface Row {
  Found find(String source);

  /** Where the source stands, for people. */
  String origin(String source);
}
