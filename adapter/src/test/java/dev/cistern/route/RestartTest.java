// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;
import static org.awaitility.Awaitility.await;

import dev.cistern.ledger.EntryState;
import java.nio.file.Path;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

class RestartTest {
  private static final String TEXT =
      "PatNo;Date;Time;Vol;Unit;Kind;LastVoid;Voided;Set;Serial;ExamNo;User\n"
          + "9990000018;14.03.2026;09:05:00;142;mL;PRE;;;F;AV-0012;0007;N4471\n";

  @Test
  void an_adapter_starts_again_where_another_one_stopped(@TempDir Path folder) throws Exception {
    try (Site first = Site.start(folder, "9990000018")) {
      first.drop("elm-ward-export", "day.csv", TEXT);
      await().until(() -> first.settled() && !first.entries("elm-ward-export", TEXT).isEmpty());
    }
    try (Site second = Site.start(folder, "9990000018")) {
      second.drop("elm-ward-export", "day.csv", TEXT);
      await()
          .untilAsserted(
              () ->
                  assertThat(second.entries("elm-ward-export", TEXT))
                      .singleElement()
                      .satisfies(e -> assertThat(e.state()).isEqualTo(EntryState.DUPLICATE)));
      assertThat(second.proof().holds()).isTrue();
    }
  }
}
