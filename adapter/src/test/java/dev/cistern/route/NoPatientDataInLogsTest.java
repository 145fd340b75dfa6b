// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;
import static org.awaitility.Awaitility.await;

import ch.qos.logback.classic.Level;
import ch.qos.logback.classic.Logger;
import ch.qos.logback.classic.LoggerContext;
import dev.cistern.ledger.Trail;
import dev.cistern.testing.KeptLog;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Duration;
import java.util.ArrayList;
import java.util.List;
import java.util.Queue;
import java.util.regex.MatchResult;
import java.util.regex.Matcher;
import java.util.regex.Pattern;
import java.util.stream.Stream;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.slf4j.LoggerFactory;

/**
 * Sends marked values through every field of every format, good and broken, and searches what is
 * written about it.
 */
class NoPatientDataInLogsTest {
  private static final String MARK = "ZZMARK";

  /** Where a value stands in each format: the whole match is replaced. */
  private static final List<Format> FORMATS =
      List.of(
          new Format(
              "elm-ward-export",
              "csv",
              "a-day-on-elm-with-one-unit-missing-and-one-code-unknown",
              Pattern.compile("(?<=[;\n])[^;\n]+")),
          new Format(
              "hazel-json",
              "json",
              "a-clinic-morning-with-one-volume-typed-with-a-comma",
              Pattern.compile("(?<=: \")[^\"]+(?=\")")),
          new Format(
              "birch-xml",
              "xml",
              "an-hour-on-birch-with-a-void-after-the-scan-and-a-patient-nobody-knows",
              Pattern.compile("(?<=[a-z]=\")[^\"]+(?=\")|(?<=>)[^<>\n]+(?=<)")),
          new Format(
              "rowan-oru",
              "hl7",
              "an-evening-on-rowan-with-a-correction",
              Pattern.compile("(?<=[|^])[^|^\r\n]+")));

  private record Format(String source, String ending, String sample, Pattern value) {}

  @TempDir Path folder;

  private final LoggerContext logging = (LoggerContext) LoggerFactory.getILoggerFactory();
  private final KeptLog keeping = new KeptLog();
  private final Queue<String> written = keeping.lines();

  @BeforeEach
  void listen() {
    keeping.setContext(logging);
    keeping.start();
    Logger root = logging.getLogger(Logger.ROOT_LOGGER_NAME);
    root.addAppender(keeping);
    root.setLevel(Level.INFO);
    logging.getLogger("dev.cistern").setLevel(Level.DEBUG);
  }

  @AfterEach
  void quiet() {
    Logger root = logging.getLogger(Logger.ROOT_LOGGER_NAME);
    root.detachAppender(keeping);
    root.setLevel(Level.WARN);
    logging.getLogger("dev.cistern").setLevel(Level.INFO);
  }

  private static String sample(Format format) throws Exception {
    Path input =
        Path.of("../samples", format.source(), format.sample(), "input." + format.ending());
    return Files.readString(input);
  }

  /** The text with one value marked, for each of its values; with all; cut off; with noise. */
  private static List<String> marked(String text, Pattern value) {
    List<String> variants = new ArrayList<>();
    Matcher matcher = value.matcher(text);
    List<MatchResult> values = matcher.results().toList();
    int step = Math.max(1, values.size() / 60);
    for (int i = 0; i < values.size(); i += step) {
      MatchResult each = values.get(i);
      variants.add(text.substring(0, each.start()) + MARK + i + text.substring(each.end()));
    }
    String all = value.matcher(text).replaceAll(MARK);
    variants.add(all);
    variants.add(all.substring(0, all.length() / 2));
    variants.add(MARK + all);
    variants.add(all.replace(";", ";\"").replace("\"", "\"\""));
    variants.add(all.replace('}', ']').replace("</", "<"));
    variants.add(MARK + "\u0000" + all);
    return variants;
  }

  private static void feed(Site site) throws Exception {
    for (Format format : FORMATS) {
      int number = 0;
      for (String variant : marked(sample(format), format.value())) {
        site.drop(format.source(), MARK + "-" + number++ + "." + format.ending(), variant);
      }
    }
    String form =
        "patient=9990000077&measured=2026-03-14T12%3A05&volume=156&purpose=pre-void&scanner=WL-009"
            + "&exam=0044&note=none&ward=Willow&operator=N1&confounder=none&aim=centred";
    for (String variant : marked("&" + form, Pattern.compile("(?<==)[^&]+"))) {
      String body = variant.replace("\u0000", "%00");
      site.post("bedside", Site.TYPE, MARK + body.hashCode(), body);
      site.post("bedside", "application/json", null, "{\"patient\":\"" + body);
    }
    site.post(MARK, Site.TYPE, null, form);
    site.post("bedside", MARK, null, form);
    site.get("/entries/" + MARK);
  }

  @Test
  void marked_values_are_in_no_log_line_and_in_no_plain_part_of_the_trail() throws Exception {
    List<String> told = new ArrayList<>();
    try (Site site = Site.start(folder, "9990000018", "9990000077", MARK, MARK + "0")) {
      feed(site);
      await()
          .atMost(Duration.ofMinutes(2))
          .until(
              () ->
                  Site.FOLDERS.stream().allMatch(source -> isEmpty(site.inbox(source)))
                      && site.settled());
      // An outage, with results on their way.
      site.server.close();
      String row =
          "%s;14.03.2026;09:05:00;142;mL;PRE;;;F;AV-9999;%s1;%s\n".formatted(MARK, MARK, MARK);
      site.drop(
          "elm-ward-export",
          "outage.csv",
          "PatNo;Date;Time;Vol;Unit;Kind;LastVoid;Voided;Set;Serial;ExamNo;User\n" + row);
      await().until(() -> site.plant.postbox().destination().reason() != null);

      site.plant.ledger().trail(null, null, event -> told.add(text(event)));
      told.add(site.get("/health/ready").body());
      told.add(String.valueOf(site.plant.postbox().destination().reason()));
      assertThat(site.proof().holds()).isTrue();
      assertThat(
              site.plant
                  .ledger()
                  .queue()
                  .page(
                      dev.cistern.ledger.Queue.Filter.ALL,
                      dev.cistern.ledger.Queue.Place.START,
                      5000))
          .as("marked values were refused")
          .hasSizeGreaterThan(50);
    }
    assertThat(written).as("it was listened to").anyMatch(line -> line.contains("is rejected"));
    assertThat(written).noneMatch(line -> line.contains(MARK));
    assertThat(told).hasSizeGreaterThan(100).noneMatch(line -> line.contains(MARK));
  }

  private static String text(Trail.Event event) {
    return event.actor() + " " + event.event() + " " + event.detail();
  }

  private static boolean isEmpty(Path inbox) {
    try (Stream<Path> files = Files.list(inbox)) {
      return files.noneMatch(Files::isRegularFile);
    } catch (java.io.IOException e) {
      return false;
    }
  }
}
