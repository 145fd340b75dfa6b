// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.page;

/**
 * One link of the navigation.
 *
 * @param path where it leads, from the root: {@code /rejected}
 * @param label what it is called, one or two words
 */
public record Link(String path, String label) {
  public Link {
    if (!path.startsWith("/")) {
      throw new IllegalArgumentException("a link starts at the root: " + path);
    }
  }
}
