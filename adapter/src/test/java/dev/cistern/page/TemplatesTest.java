// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.page;

import static org.assertj.core.api.Assertions.assertThat;

import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.List;
import java.util.stream.Stream;
import org.junit.jupiter.api.Test;

/** What no template may do, because the security policy or the next reader would suffer for it. */
class TemplatesTest {
  private static List<Path> templates() throws IOException {
    try (Stream<Path> all = Files.walk(Path.of("src/main/jte"))) {
      return all.filter(Files::isRegularFile).toList();
    }
  }

  @Test
  void templates_escape_all_and_hold_neither_styles_nor_scripts_nor_foreign_addresses()
      throws IOException {
    assertThat(templates())
        .isNotEmpty()
        .allSatisfy(
            file ->
                assertThat(Files.readString(file))
                    .doesNotContain("$unsafe")
                    .doesNotContainPattern("\\sstyle\\s*=")
                    .doesNotContainPattern("\\son[a-z]+\\s*=")
                    .doesNotContainPattern("<script(?! src=)")
                    .doesNotContain("<style", "http://", "https://"));
  }
}
