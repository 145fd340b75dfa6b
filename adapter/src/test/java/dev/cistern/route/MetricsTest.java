// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;
import static org.awaitility.Awaitility.await;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.delivery.AnswerClass;
import dev.cistern.delivery.PauseReason;
import dev.cistern.json.Json;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Reconciliation;
import dev.cistern.yaml.YamlFile;
import java.net.http.HttpResponse;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Duration;
import java.util.Arrays;
import java.util.HashSet;
import java.util.List;
import java.util.Map;
import java.util.Set;
import java.util.TreeSet;
import java.util.regex.MatchResult;
import java.util.regex.Pattern;
import java.util.stream.Collectors;
import java.util.stream.Stream;
import org.junit.jupiter.api.AfterAll;
import org.junit.jupiter.api.BeforeAll;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** The numbers at /metrics after a run of all kinds of inputs, and the files that refer to them. */
class MetricsTest {
  private static final Path PAGE = Path.of("docs/metrics.md");
  private static final String FROM = "<!-- names -->\n";
  private static final String TO = "<!-- /names -->";
  private static final Path RULES = Path.of("../docker/alerts.yaml");
  private static final Path DASHBOARD = Path.of("../docker/dashboard.json");
  private static final Pattern NAME =
      Pattern.compile("\\b(?:cistern|jvm|process|system)_[a-z0-9_]+");
  private static final String ELM =
      "../samples/elm-ward-export/"
          + "a-day-on-elm-with-one-unit-missing-and-one-code-unknown/input.csv";

  @TempDir static Path folder;

  @SuppressWarnings("NullAway.Init")
  private static Site site;

  @SuppressWarnings("NullAway.Init")
  private static Scrape scrape;

  @SuppressWarnings("NullAway.Init")
  private static String text;

  @BeforeAll
  static void a_mixed_run() throws Exception {
    site = Site.start(folder, "9990000018", "9990000026", "9990000034");
    String day = Files.readString(Path.of(ELM));
    site.drop("elm-ward-export", "day-of-9990000018.csv", day);
    holdsAtAnyMoment();
    assertThat(site.post("bedside", Site.TYPE, "a", form("9990000018", "1")).statusCode())
        .isEqualTo(201);
    assertThat(site.post("bedside", Site.TYPE, "b", form("9990000018", "")).statusCode())
        .isEqualTo(422);
    await().until(site::settled);
    site.drop("elm-ward-export", "again.csv", day);
    await()
        .until(
            () ->
                site.proof().sums().stream().mapToLong(Reconciliation.Sum::submissions).sum() == 4);
    await().until(site::settled);
    await()
        .atMost(Duration.ofSeconds(20))
        .until(() -> scraped().sum("cistern_submissions_total") == 4);
    text = site.get("/metrics").body();
    scrape = Scrape.read(text);
  }

  @AfterAll
  static void stop() {
    site.close();
  }

  private static String form(String patient, String exam) {
    return "patient="
        + patient
        + "&measured=2026-03-14T12%3A05&volume="
        + (exam.isEmpty() ? "much" : "156")
        + "&purpose=pre-void&scanner=WL-009&exam="
        + exam;
  }

  private static Scrape scraped() throws Exception {
    HttpResponse<String> answer = site.get("/metrics");
    assertThat(answer.statusCode()).isEqualTo(200);
    assertThat(answer.headers().firstValue("Content-Type").orElse(""))
        .startsWith("text/plain")
        .contains("version=0.0.4")
        .containsIgnoringCase("charset=utf-8");
    return Scrape.read(answer.body());
  }

  private static void holdsAtAnyMoment() throws Exception {
    for (int i = 0; i < 5; i++) {
      everySourceAddsUp(scraped());
    }
  }

  private static void everySourceAddsUp(Scrape scrape) {
    for (String source : sources()) {
      assertThat(scrape.sum("cistern_received_entries_total", l -> source.equals(l.get("source"))))
          .as("received = what became of it, for %s", source)
          .isEqualTo(scrape.sum("cistern_entries", l -> source.equals(l.get("source"))));
    }
  }

  private static List<String> sources() {
    return Stream.concat(Stream.of("bedside"), Site.FOLDERS.stream()).toList();
  }

  @Test
  void what_was_received_is_the_sum_of_what_became_of_it() {
    everySourceAddsUp(scrape);
    assertThat(scrape.sum("cistern_received_entries_total")).isEqualTo(24);
    for (EntryState state : EntryState.values()) {
      assertThat(scrape.sum("cistern_entries", l -> state.code().equals(l.get("state"))))
          .as(state.code())
          .isEqualTo(site.proof().sums().stream().mapToLong(s -> s.count(state)).sum());
    }
    assertThat(scrape.sum("cistern_entries", l -> "duplicate".equals(l.get("state")))).isPositive();
    assertThat(scrape.sum("cistern_entries", l -> "rejected".equals(l.get("state")))).isPositive();
    assertThat(scrape.sum("cistern_entries", l -> "returned".equals(l.get("state")))).isOne();
  }

  @Test
  void every_delivery_has_its_latency_and_its_entry() {
    double delivered =
        scrape.sum("cistern_delivery_tries_total", l -> "delivered".equals(l.get("outcome")));
    assertThat(delivered)
        .isPositive()
        .isEqualTo(scrape.sum("cistern_delivery_latency_seconds_count"))
        .isEqualTo(
            scrape.sum("cistern_delivery_latency_seconds_bucket", l -> "+Inf".equals(l.get("le"))))
        .isEqualTo(scrape.sum("cistern_entries", l -> "delivered".equals(l.get("state"))));
    assertThat(scrape.sum("cistern_delivery_tries_total", l -> "refused".equals(l.get("outcome"))))
        .isEqualTo(
            site.proof().sums().stream().mapToLong(s -> s.count(EntryState.REJECTED)).sum()
                - rejectedBeforeDelivery());
  }

  private static long rejectedBeforeDelivery() {
    long[] never = {0};
    site.plant
        .ledger()
        .queue()
        .each(
            dev.cistern.ledger.Queue.Filter.ALL,
            entry ->
                never[0] += site.plant.ledger().records().attempts(entry.id()).isEmpty() ? 1 : 0);
    return never[0];
  }

  @Test
  void answers_and_writes_are_counted_by_class() {
    assertThat(
            scrape.sum("cistern_fhir_requests_seconds_count", l -> "done".equals(l.get("answer"))))
        .isPositive();
    assertThat(
            scrape.sum("cistern_store_writes_seconds_count", l -> "committed".equals(l.get("end"))))
        .isPositive();
    assertThat(scrape.sum("cistern_store_writes_seconds_count", l -> "failed".equals(l.get("end"))))
        .isZero();
    assertThat(scrape.sum("cistern_destination_paused")).isZero();
    assertThat(scrape.sum("cistern_store_readable")).isOne();
    assertThat(scrape.sum("cistern_store_free_bytes")).isPositive();
  }

  @Test
  void labels_are_of_closed_sets_and_nothing_is_of_a_patient() {
    Map<String, Set<String>> allowed =
        Map.of(
            "source", new HashSet<>(sources()),
            "state", words(Arrays.stream(EntryState.values()).map(EntryState::code)),
            "code", words(Arrays.stream(PauseReason.values()).map(PauseReason::code)),
            "answer",
                words(
                    Stream.concat(
                        Arrays.stream(AnswerClass.values())
                            .map(
                                each ->
                                    each.name()
                                        .toLowerCase(java.util.Locale.ROOT)
                                        .replace('_', '-')),
                        Stream.of("not-sent", "no-answer"))),
            "outcome", Set.of("delivered", "superseded", "refused", "later", "held"),
            "end", Set.of("committed", "failed", "withdrawn"),
            "what",
                Set.of("token", "own-certificate", "server-certificate", "listener-certificate"));
    scrape.samples().keySet().stream()
        .filter(sample -> sample.name().startsWith("cistern_"))
        .forEach(
            sample ->
                sample
                    .labels()
                    .forEach(
                        (label, value) -> {
                          if (allowed.containsKey(label)) {
                            assertThat(allowed.get(label)).contains(value);
                          } else {
                            assertThat(label).isIn("le", "version");
                          }
                        }));
    assertThat(text).doesNotContain("999000").doesNotContain("AV-0012").doesNotContain("N4471");
  }

  private static Set<String> words(Stream<String> words) {
    return words.collect(Collectors.toSet());
  }

  @Test
  void the_page_lists_every_number() throws Exception {
    String page = Files.readString(PAGE);
    StringBuilder rows = new StringBuilder("| name | labels | what it says |\n|---|---|---|\n");
    for (String name : new TreeSet<>(scrape.helps().keySet())) {
      if (name.startsWith("cistern_")) {
        rows.append("| `%s` | %s | %s |\n".formatted(name, labels(name), scrape.helps().get(name)));
      }
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

  private static String labels(String name) {
    return scrape.samples().keySet().stream()
        .filter(s -> s.name().equals(name) || s.name().equals(name + "_count"))
        .flatMap(s -> s.labels().keySet().stream())
        .distinct()
        .sorted()
        .map(label -> "`" + label + "`")
        .collect(Collectors.joining(", "));
  }

  @Test
  void the_alert_rules_name_only_numbers_that_exist() throws Exception {
    JsonNode rules = YamlFile.read(RULES).tree().at("/groups/0/rules");
    assertThat(rules.size()).isGreaterThan(8);
    Set<String> used = new TreeSet<>();
    for (JsonNode rule : rules) {
      assertThat(rule.path("alert").asText()).isNotBlank();
      assertThat(rule.path("for").asText()).matches("\\d+[smh]");
      assertThat(rule.path("labels").path("severity").asText()).isIn("page", "ticket");
      assertThat(rule.path("annotations").path("summary").asText()).endsWith(".");
      String runbook = rule.path("annotations").path("runbook").asText();
      assertThat(Path.of("docs/runbook.md").toFile()).exists();
      assertThat(Files.readString(Path.of("docs/runbook.md")))
          .as(runbook)
          .contains("<a id=\"" + runbook + "\"></a>");
      used.addAll(namesIn(rule.path("expr").asText()));
    }
    assertThat(scrape.names()).containsAll(used);
  }

  @Test
  void the_dashboard_names_only_numbers_that_exist() throws Exception {
    JsonNode dashboard = Json.tree(Files.readString(DASHBOARD));
    Set<String> used = new TreeSet<>();
    dashboard
        .path("panels")
        .forEach(
            panel ->
                panel
                    .path("targets")
                    .forEach(target -> used.addAll(namesIn(target.path("expr").asText()))));
    assertThat(used).hasSizeGreaterThan(10);
    assertThat(scrape.names()).containsAll(used);
  }

  private static Set<String> namesIn(String expression) {
    return NAME.matcher(expression).results().map(MatchResult::group).collect(Collectors.toSet());
  }
}
