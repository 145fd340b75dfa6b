// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.work;

import dev.cistern.mapping.Format;
import dev.cistern.mapping.Mapping;
import dev.cistern.refine.Preview;
import dev.cistern.scan.CisternException;
import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.List;
import org.jspecify.annotations.Nullable;

/**
 * Shows what would become of a sample, entry by entry; the sample is kept only while it is read.
 */
record SampleTrial(byte[] sample, int most) {
  static SampleTrial of(byte[] sample, int most) {
    return new SampleTrial(sample.clone(), most);
  }

  /** What a sample for a mapping is called by its sender; null where nobody says. */
  static @Nullable String typeOf(Mapping mapping) {
    return mapping.format() == Format.FORM ? "application/x-www-form-urlencoded" : null;
  }

  /** Closes the preview. */
  List<Preview.Shown> under(Preview preview, @Nullable String contentType) {
    try (preview) {
      Path file = Files.createTempFile("cistern-sample", ".bin");
      try {
        Files.write(file, sample);
        List<Preview.Shown> shown = new ArrayList<>();
        preview.show(
            file,
            contentType,
            each -> {
              if (shown.size() < most) {
                shown.add(each);
              }
            });
        return shown;
      } finally {
        Files.deleteIfExists(file);
      }
    } catch (IOException e) {
      throw new CisternException("The sample cannot be kept for the moment that this takes.", e);
    }
  }

  /** Never shows the sample. */
  @Override
  public String toString() {
    return "SampleTrial[" + sample.length + " bytes]";
  }
}
