// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.intake;

import java.time.Instant;

/** What keeps a source from being read, or a topic from being written, and since when. */
public record Trouble(Instant since, String why) {}
