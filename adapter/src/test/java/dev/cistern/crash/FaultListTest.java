// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.delivery.AnswerClass;
import dev.cistern.testing.FaultyFhirServer;
import java.io.IOException;
import java.lang.reflect.Method;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.Arrays;
import java.util.List;
import java.util.Map;
import java.util.regex.MatchResult;
import java.util.regex.Pattern;
import java.util.stream.Collectors;
import java.util.stream.Stream;
import org.junit.jupiter.api.BeforeAll;
import org.junit.jupiter.api.Test;
import org.junit.platform.commons.annotation.Testable;
import org.junit.platform.commons.support.AnnotationSupport;

/**
 * The list of faults names a test that exists for every row, and leaves out nothing that is played.
 */
class FaultListTest {
  private static final Path PAGE = Path.of("docs/faults.md");
  private static final Pattern NAMED = Pattern.compile("`(\\w+(?:Test|IT))#(\\w+)`");

  @SuppressWarnings("NullAway.Init")
  private static List<String> rows;

  @SuppressWarnings("NullAway.Init")
  private static Map<String, String> classes;

  @BeforeAll
  static void read() throws IOException {
    rows =
        Files.readAllLines(PAGE).stream()
            .filter(line -> line.startsWith("| ") && !line.endsWith("| played by |"))
            .toList();
    Path compiled = Path.of("target/test-classes");
    try (Stream<Path> files = Files.walk(compiled)) {
      classes =
          files
              .map(file -> compiled.relativize(file).toString())
              .filter(name -> name.endsWith(".class") && !name.contains("$"))
              .map(name -> name.substring(0, name.length() - ".class".length()).replace('/', '.'))
              .collect(
                  Collectors.toMap(
                      name -> name.substring(name.lastIndexOf('.') + 1),
                      name -> name,
                      (one, other) -> one + " " + other));
    }
  }

  @Test
  void every_fault_names_a_test() {
    assertThat(rows).hasSizeGreaterThan(60);
    assertThat(rows)
        .allSatisfy(
            row ->
                assertThat(
                        NAMED
                            .matcher(row.substring(row.lastIndexOf("| ", row.length() - 3)))
                            .find())
                    .as(row)
                    .isTrue());
  }

  @Test
  void every_test_that_is_named_exists_and_is_a_test() throws Exception {
    List<MatchResult> named = rows.stream().flatMap(row -> NAMED.matcher(row).results()).toList();
    assertThat(named).hasSizeGreaterThan(rows.size());
    for (MatchResult each : named) {
      assertThat(classes).as("a class of this name").containsKey(each.group(1));
      List<Method> methods = new ArrayList<>();
      for (String name : java.util.Objects.requireNonNull(classes.get(each.group(1))).split(" ")) {
        Class<?> type = Class.forName(name, false, getClass().getClassLoader());
        methods.addAll(Arrays.asList(type.getDeclaredMethods()));
      }
      assertThat(methods.stream().filter(m -> isTest(m, each.group(2))))
          .as(each.group())
          .isNotEmpty();
    }
  }

  private static boolean isTest(Method method, String name) {
    return method.getName().equals(name) && AnnotationSupport.isAnnotated(method, Testable.class);
  }

  @Test
  void every_status_of_every_class_of_answers_is_listed() {
    for (AnswerClass answer : AnswerClass.values()) {
      String row =
          rows.stream()
              .filter(r -> r.startsWith("| " + answer.name() + " |"))
              .findFirst()
              .orElse("");
      assertThat(row).as(answer.name()).isNotEmpty();
      String statuses = row.split("\\|", -1)[2];
      assertThat(answer.statuses())
          .allSatisfy(status -> assertThat(statuses).containsPattern("\\b" + status + "\\b"));
    }
  }

  @Test
  void every_point_of_death_and_every_fault_of_the_faulty_server_is_listed() {
    String page = String.join("\n", rows);
    for (CrashPointIT.Point point : CrashPointIT.Point.values()) {
      assertThat(page).contains("| killed " + point.words() + " |");
    }
    for (FaultyFhirServer.Fault fault : FaultyFhirServer.Fault.values()) {
      if (fault != FaultyFhirServer.Fault.NONE) {
        assertThat(page).containsPattern("\\b" + fault.name() + "\\b");
      }
    }
  }
}
