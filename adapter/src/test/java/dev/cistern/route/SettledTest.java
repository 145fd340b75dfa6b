// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.testing.TestClock;
import java.io.File;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Duration;
import org.apache.camel.component.file.GenericFile;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

class SettledTest {
  @TempDir Path folder;

  private final TestClock clock = TestClock.at("2026-03-14T09:00:00Z");
  private final Settled settled = new Settled("*.csv", Duration.ofSeconds(10), clock);

  private GenericFile<File> file(String name, long length, long modified) {
    GenericFile<File> file = new GenericFile<>();
    file.setFileNameOnly(name);
    file.setAbsoluteFilePath(folder.resolve(name).toString());
    file.setFileLength(length);
    file.setLastModified(modified);
    return file;
  }

  private boolean accepts(long length, long modified) {
    return settled.accept(file("day.csv", length, modified));
  }

  @Test
  void a_file_is_taken_when_it_stayed_the_same_for_long_enough() {
    assertThat(accepts(100, 1)).isFalse();
    clock.tick(Duration.ofSeconds(9));
    assertThat(accepts(100, 1)).isFalse();
    clock.tick(Duration.ofSeconds(1));
    assertThat(accepts(100, 1)).isTrue();
  }

  @Test
  void a_file_that_still_grows_is_left_alone_and_the_wait_begins_anew() {
    for (int i = 0; i < 20; i++) {
      assertThat(accepts(100 + i, 1)).isFalse();
      clock.tick(Duration.ofSeconds(6));
    }
    assertThat(accepts(119, 1)).isFalse();
    clock.tick(Duration.ofSeconds(10));
    assertThat(accepts(119, 1)).isTrue();
  }

  @Test
  void a_file_that_is_written_over_at_the_same_length_is_left_alone() {
    assertThat(accepts(100, 1)).isFalse();
    clock.tick(Duration.ofSeconds(10));
    assertThat(accepts(100, 2)).isFalse();
  }

  @Test
  void a_name_that_does_not_fit_is_never_taken() {
    for (String name : new String[] {"day.txt", "day.csv.part", "csv"}) {
      settled.accept(file(name, 1, 1));
      clock.tick(Duration.ofHours(1));
      assertThat(settled.accept(file(name, 1, 1))).as(name).isFalse();
    }
  }

  @Test
  void files_are_watched_one_by_one_and_forgotten_when_they_are_gone() {
    assertThat(settled.accept(file("a.csv", 1, 1))).isFalse();
    clock.tick(Duration.ofSeconds(10));
    assertThat(settled.accept(file("b.csv", 1, 1))).isFalse();
    assertThat(settled.accept(file("a.csv", 1, 1))).isTrue();
    clock.tick(Duration.ofHours(1));
    assertThat(settled.accept(file("c.csv", 1, 1))).isFalse();
    assertThat(settled.accept(file("a.csv", 1, 1))).as("seen anew").isFalse();
  }

  @Test
  void without_a_wait_a_file_is_taken_at_once() {
    assertThat(new Settled("*", Duration.ZERO, clock).accept(file("day.csv", 1, 1))).isTrue();
  }

  @Test
  void a_link_is_never_taken() throws Exception {
    Path elsewhere = Files.writeString(folder.resolve("elsewhere.csv"), "x");
    Files.createSymbolicLink(folder.resolve("link.csv"), elsewhere);
    Settled atOnce = new Settled("*", Duration.ZERO, clock);
    assertThat(atOnce.accept(file("link.csv", 1, 1))).isFalse();
    assertThat(atOnce.accept(file("elsewhere.csv", 1, 1))).isTrue();
  }

  @Test
  void hidden_folders_are_not_entered() {
    GenericFile<File> done = file(".done", 0, 1);
    done.setDirectory(true);
    GenericFile<File> march = file("march", 0, 1);
    march.setDirectory(true);
    assertThat(settled.accept(done)).isFalse();
    assertThat(settled.accept(march)).isTrue();
  }

  @Test
  void a_clock_that_is_set_back_only_begins_the_wait_anew() {
    assertThat(accepts(100, 1)).isFalse();
    clock.tick(Duration.ofHours(-3));
    assertThat(accepts(100, 1)).isFalse();
    clock.tick(Duration.ofSeconds(10));
    assertThat(accepts(100, 1)).isTrue();
  }
}
