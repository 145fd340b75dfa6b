// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import java.nio.charset.Charset;
import org.jspecify.annotations.Nullable;

/**
 * The {@code input} part of a mapping file.
 *
 * @param charset null where the mapping names none
 * @param allowEmpty whether a submission without a result is fine
 */
record Input(
    Format format,
    @Nullable Charset charset,
    boolean allowEmpty,
    TableLayout table,
    Selection selection) {}
