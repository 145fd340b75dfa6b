// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import dev.cistern.scan.CisternException;

/** The FHIR server cannot be reached. */
final class NetworkDown extends CisternException {
  private static final long serialVersionUID = 1L;

  NetworkDown(String message) {
    super(message);
  }
}
