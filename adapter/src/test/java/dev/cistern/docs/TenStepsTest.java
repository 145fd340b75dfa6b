// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.docs;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.cli.Cistern;
import java.io.ByteArrayOutputStream;
import java.io.PrintStream;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.Arrays;
import java.util.regex.Matcher;
import java.util.regex.Pattern;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** Does what the page says, in its order: writes its files, runs its commands. */
class TenStepsTest {
  private static final Path PAGE = Path.of("docs/new-device-in-ten-steps.md");

  /** A fence says the language, and for a file its name. */
  private static final Pattern FENCE =
      Pattern.compile("^```(\\w+)(?: (\\S+))?\\n(.*?)^```$", Pattern.DOTALL | Pattern.MULTILINE);

  @TempDir Path folder;
  private int commands;

  @Test
  void the_page_does_what_it_says() throws Exception {
    Matcher fences = FENCE.matcher(Files.readString(PAGE));
    while (fences.find()) {
      if (fences.group(1).equals("console")) {
        follow(fences.group(3));
      } else {
        Files.writeString(folder.resolve(fences.group(2)), fences.group(3));
      }
    }
    assertThat(commands).isEqualTo(7);
  }

  /** Each line that is no command begins a part of what the command before it prints, in order. */
  private void follow(String console) throws Exception {
    String printed = "";
    int from = 0;
    for (String line : console.lines().toList()) {
      if (line.startsWith("$ cistern ")) {
        printed = run(line.substring("$ cistern ".length()));
        from = 0;
      } else {
        int at = printed.indexOf(line, from);
        assertThat(at).as("\"%s\" in what is printed:%n%s", line, printed).isNotNegative();
        from = at + line.length();
      }
    }
  }

  private String run(String command) {
    commands++;
    String[] words =
        Arrays.stream(command.split(" "))
            .map(
                word ->
                    word.matches(".*\\.(yaml|csv|json)") ? folder.resolve(word).toString() : word)
            .toArray(String[]::new);
    PrintStream out = System.out;
    PrintStream err = System.err;
    ByteArrayOutputStream printed = new ByteArrayOutputStream();
    try (PrintStream both = new PrintStream(printed, true, StandardCharsets.UTF_8)) {
      System.setOut(both);
      System.setErr(both);
      int code = Cistern.run(words);
      String text = printed.toString(StandardCharsets.UTF_8);
      assertThat(code).as("%s%n%s", command, text).isEqualTo(expected(text));
      return text;
    } finally {
      System.setOut(out);
      System.setErr(err);
    }
  }

  /** The exit codes that the page's outcomes have. */
  private static int expected(String printed) {
    if (printed.contains("is not a word of")) {
      return 2;
    }
    return printed.contains("  rejected  ") ? 1 : 0;
  }
}
