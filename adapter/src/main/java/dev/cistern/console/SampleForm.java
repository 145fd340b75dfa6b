// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import dev.cistern.scan.CisternException;
import jakarta.servlet.ServletException;
import jakarta.servlet.http.HttpServletRequest;
import jakarta.servlet.http.Part;
import java.io.IOException;
import java.nio.charset.StandardCharsets;
import java.util.Objects;

/** Takes texts and samples out of a form that was sent in parts. */
final class SampleForm {
  /** Of a sample, in bytes. */
  static final int LARGEST = 2_000_000;

  private SampleForm() {}

  /** Browsers send text areas with two signs for a line's end. */
  static String text(HttpServletRequest request, String name) {
    return Objects.requireNonNullElse(request.getParameter(name), "").replace("\r\n", "\n");
  }

  /**
   * The file where one was chosen, its bytes as they are; else what was pasted.
   *
   * @throws CisternException where there is neither
   */
  static byte[] sample(HttpServletRequest request) throws IOException {
    byte[] sample = given(request);
    if (sample.length == 0) {
      throw new CisternException("Paste a sample, or choose a file, to try this on.");
    }
    return sample;
  }

  private static byte[] given(HttpServletRequest request) throws IOException {
    try {
      Part file = request.getPart("file");
      if (file != null && file.getSize() > 0) {
        return file.getInputStream().readNBytes(LARGEST);
      }
    } catch (ServletException e) {
      throw new CisternException("The form was not sent in parts; load the page again.", e);
    }
    return text(request, "sample").getBytes(StandardCharsets.UTF_8);
  }
}
