// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
/** Fetches files from a folder on another host. */
@NullMarked
package dev.cistern.fetch;

import org.jspecify.annotations.NullMarked;
