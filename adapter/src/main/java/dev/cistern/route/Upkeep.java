// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import java.time.Duration;

/**
 * Something that is done again and again beside the work.
 *
 * @param name letters and hyphens
 */
record Upkeep(String name, Duration every, Runnable work) {}
