// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.crash.fuzz.Fuzz;
import dev.cistern.crash.fuzz.Sample;
import java.nio.file.Path;
import java.util.List;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/**
 * Spoilt samples through every decoder and all that follows. An input that fails is printed with
 * its number and kept in a file; {@code -Dcistern.fuzz.first=NUMBER -Dcistern.fuzz.inputs=1} with
 * the same seed makes it again.
 */
class FuzzIT {
  private static final int INPUTS = Campaign.count("cistern.fuzz.inputs", 20_000, 1_000_000);
  private static final int FIRST = Integer.getInteger("cistern.fuzz.first", 0);

  /** After so many the report is written, in case that the rest is cut off. */
  private static final int BLOCK = 20_000;

  @Test
  void every_spoilt_input_has_a_state(@TempDir Path folder) throws Exception {
    List<Sample> samples = Sample.all();
    try (Fuzz fuzz = new Fuzz(samples, folder, Campaign.SEED)) {
      for (long done = 0; done < INPUTS; done += BLOCK) {
        List<String> faults = fuzz.mutated(FIRST + done, Math.min(BLOCK, INPUTS - done));
        CampaignReport.add(
            new CampaignReport.Step(
                "spoilt inputs",
                "Samples of every format with flipped bits, pieces cut out, doubled, moved from one"
                    + " to another, odd numbers and signs; each through decoding, normalising and"
                    + " checking, some of what is accepted on to its Observation, and every 100th"
                    + " through a ledger.",
                fuzz.figures(),
                faults));
        assertThat(faults).isEmpty();
      }
      assertThat(fuzz.addsUp()).as("the ledger of every 100th adds up").isTrue();
    }
  }

  /** In every build each sample is cut at some of its bytes, in a campaign at each of them. */
  @Test
  void every_sample_that_is_cut_has_a_state(@TempDir Path folder) throws Exception {
    List<Sample> samples = Sample.all();
    try (Fuzz fuzz = new Fuzz(samples, folder, Campaign.SEED)) {
      List<String> faults = fuzz.cut(Campaign.count("cistern.cut.step", 41, 1));
      CampaignReport.add(
          new CampaignReport.Step(
              "cut inputs",
              "Each sample cut behind one of its bytes, through the same.",
              fuzz.figures(),
              faults));
      assertThat(faults).isEmpty();
      assertThat(fuzz.addsUp()).as("the ledger of every 100th adds up").isTrue();
    }
  }
}
