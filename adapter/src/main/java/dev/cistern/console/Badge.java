// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import dev.cistern.console.access.Gate;
import gg.jte.Content;
import gg.jte.TemplateOutput;

/** Who is signed in, at the end of the header, and the way out. */
record Badge(String name, String check) implements Content {
  @Override
  public void writeTo(TemplateOutput output) {
    // Both are of letters, digits and a few signs that mean nothing in HTML; see Account and
    // Secret.
    output.writeContent("<span class=\"quiet\">Signed in as</span> <strong>" + name + "</strong>");
    output.writeContent("<a href=\"" + Gate.PASSWORD + "\">Password</a>");
    output.writeContent("<form method=\"post\" action=\"" + Gate.SIGN_OUT + "\">");
    output.writeContent("<input type=\"hidden\" name=\"check\" value=\"" + check + "\">");
    output.writeContent("<button>Sign out</button></form>");
  }

  /** Never shows the secret. */
  @Override
  public String toString() {
    return "Badge[…]";
  }
}
