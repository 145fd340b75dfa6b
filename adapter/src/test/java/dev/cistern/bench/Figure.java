// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bench;

/**
 * What one program came to.
 *
 * @param seconds for all results
 * @param cpuSeconds its own processor time; of the plain programs with their start and warming up
 */
record Figure(String name, String words, double seconds, double cpuSeconds, long peakMegabytes) {}
