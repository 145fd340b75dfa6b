// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern;

/** Entry point. */
public final class Main {
  private Main() {}

  public static void main(String[] args) {
    System.out.println("cistern");
  }
}
