// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.docs;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.delivery.PauseReason;
import java.nio.file.Files;
import java.nio.file.Path;
import org.junit.jupiter.api.Test;

/** The table of pauses is written from the code. */
class ServerPageTest {
  private static final Path PAGE = Path.of("docs/server.md");
  private static final String FROM = "<!-- pauses -->\n";
  private static final String TO = "<!-- /pauses -->";

  @Test
  void every_pause_is_on_the_page_with_what_to_do() throws Exception {
    String page = Files.readString(PAGE);
    StringBuilder rows =
        new StringBuilder("| code | what it means | what to do |\n|---|---|---|\n");
    for (PauseReason each : PauseReason.values()) {
      rows.append("| `%s` | %s | %s |\n".formatted(each.code(), each.sentence(), each.next()));
    }
    String written =
        page.substring(0, page.indexOf(FROM) + FROM.length())
            + rows
            + page.substring(page.indexOf(TO));
    if (Boolean.getBoolean("cistern.docs.write")) {
      Files.writeString(PAGE, written);
    }
    assertThat(Files.readString(PAGE))
        .as("run this test with -Dcistern.docs.write=true to write the page anew")
        .isEqualTo(written);
  }
}
