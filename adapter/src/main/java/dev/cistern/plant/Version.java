// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.plant;

/** This program's version. */
public final class Version {
  private Version() {}

  public static String current() {
    String version = Version.class.getPackage().getImplementationVersion();
    return version == null ? "development" : version;
  }
}
