// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.docs;

import static org.assertj.core.api.Assertions.assertThat;

import java.nio.file.Files;
import java.nio.file.Path;
import java.util.List;
import java.util.Map;
import java.util.TreeSet;
import java.util.regex.Pattern;
import java.util.stream.Collectors;
import java.util.stream.Stream;
import org.junit.jupiter.api.Test;

/** Every test that the page names exists, and every threat but those said to be open has one. */
class ThreatModelTest {
  private static final Path PAGE = Path.of("docs/threat-model.md");
  private static final Pattern NAMED = Pattern.compile("`([A-Z]\\w*(?:Test|IT))(?:\\.(\\w+))?`");

  private static Map<String, Path> tests() throws Exception {
    try (Stream<Path> files = Files.walk(Path.of("src/test/java"))) {
      return files
          .filter(file -> file.toString().matches(".*(Test|IT)\\.java"))
          .collect(
              Collectors.toMap(
                  file -> file.getFileName().toString().replace(".java", ""),
                  file -> file,
                  (one, other) -> one.toString().contains("/route/") ? one : other));
    }
  }

  @Test
  void every_test_that_is_named_exists() throws Exception {
    Map<String, Path> tests = tests();
    TreeSet<String> missing = new TreeSet<>();
    var named = NAMED.matcher(Files.readString(PAGE));
    int found = 0;
    while (named.find()) {
      found++;
      Path file = tests.get(named.group(1));
      String method = named.group(2);
      if (file == null
          || (method != null && !Files.readString(file).contains("void " + method + "("))) {
        missing.add(named.group());
      }
    }
    assertThat(missing).isEmpty();
    assertThat(found).isGreaterThan(35);
  }

  @Test
  void every_threat_has_a_test() throws Exception {
    List<String> threats =
        Files.readAllLines(PAGE).stream()
            .filter(line -> line.matches("\\| [STRIDE, ]+ \\|.*"))
            .toList();
    assertThat(threats).hasSizeGreaterThan(25).allMatch(line -> NAMED.matcher(line).find());
  }
}
