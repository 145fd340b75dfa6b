// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

/**
 * How delimited text is laid out.
 *
 * @param header whether a row names the columns; else they are named by their number, from 1
 * @param skip lines in front of the header, or of the first record
 * @param columns how many columns each record has where no header says so; 0 for any
 * @param multiline whether a quoted text may span lines
 */
record TableLayout(
    char delimiter,
    boolean header,
    int skip,
    int columns,
    boolean multiline,
    FinalNewline finalNewline) {}
