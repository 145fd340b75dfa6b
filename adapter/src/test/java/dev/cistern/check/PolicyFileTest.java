// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.catchThrowableOfType;

import com.fasterxml.jackson.databind.JsonNode;
import com.fasterxml.jackson.databind.ObjectMapper;
import dev.cistern.scan.CisternException;
import dev.cistern.scan.Coded;
import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Reason;
import dev.cistern.scan.Severity;
import dev.cistern.scan.Volume;
import dev.cistern.yaml.Problem;
import dev.cistern.yaml.YamlFile;
import dev.cistern.yaml.YamlProblems;
import java.math.BigDecimal;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Duration;
import java.time.LocalDate;
import java.time.ZoneId;
import java.util.List;
import java.util.stream.Stream;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.EnumSource;

class PolicyFileTest {
  private static final String HEAD =
      "policy: alder-vale\nversion: 3\nauthor: A. Example\ndate: 2026-03-01\n";

  private static Policy policy(String part) {
    return PolicyFile.knowing(Checks.reasons()).parse(YamlFile.parse("p.yaml", HEAD + part));
  }

  private static List<String> problems(String part) {
    return catchThrowableOfType(YamlProblems.class, () -> policy(part)).problems().stream()
        .map(Problem::toString)
        .toList();
  }

  @ParameterizedTest
  @EnumSource(Limit.class)
  void the_shipped_policy_sets_every_limit_with_author_and_day(Limit limit) {
    Setting setting = Policy.shipped().limits().of(limit);
    assertThat(setting.value()).isPositive();
    assertThat(setting.signature().author()).isNotBlank();
    assertThat(setting.signature().date()).isAfter(LocalDate.of(2026, 1, 1));
    assertThat(setting.signature().source()).isNotBlank();
  }

  @Test
  void the_shipped_policy_holds_no_verdict_and_no_device() {
    Policy shipped = Policy.shipped();
    assertThat(shipped.interpretation()).isEmpty();
    assertThat(shipped.fleet()).isEqualTo(new Fleet(java.util.Map.of(), java.util.Map.of()));
    assertThat(shipped.severities()).isEmpty();
    assertThat(shipped.checkDigits()).isEqualTo(CheckDigits.NONE);
    assertThat(shipped.alarmVolume()).isEqualTo(Volume.millilitres(500));
  }

  /** Each number beside its source; where it says so, there is none. */
  @Test
  void the_shipped_numbers_are_these() {
    assertThat(shipped(Limit.REVIEW_VOLUME)).isEqualByComparingTo("1500"); // common practice
    assertThat(shipped(Limit.UNIT_SUSPECTED_VOLUME))
        .isEqualByComparingTo("3000"); // common practice
    assertThat(shipped(Limit.REJECT_VOLUME)).isEqualByComparingTo("11000"); // 10,995 published
    // Gehrich et al., Obstet Gynecol 2007;110(4)
    assertThat(shipped(Limit.MINUTES_SINCE_VOID)).isEqualByComparingTo("10");
    // Chang & Yang, J Urol 2009;182(4S):1933
    assertThat(shipped(Limit.MINUTES_SINCE_VOID_OF_A_CHILD)).isEqualByComparingTo("5");
    // common practice: 48 in and 60 lb
    assertThat(shipped(Limit.SMALL_CHILD_HEIGHT)).isEqualByComparingTo("122");
    assertThat(shipped(Limit.SMALL_CHILD_WEIGHT)).isEqualByComparingTo("27");
  }

  private static BigDecimal shipped(Limit limit) {
    return Policy.shipped().limits().of(limit).value();
  }

  @Test
  void what_a_site_does_not_set_is_as_shipped_and_says_so() {
    Limits limits = policy("limits: {reviewVolume: 900.5}").limits();
    assertThat(limits.of(Limit.REVIEW_VOLUME).words())
        .isEqualTo("900.5 mL (policy alder-vale, version 3)");
    assertThat(limits.of(Limit.MINUTES_SINCE_VOID).words())
        .isEqualTo("10 min (policy shipped, version 1)");
  }

  @Test
  void each_entry_is_signed_by_itself_or_by_what_is_around_it() {
    Limits limits =
        policy(
                """
                limits:
                  reviewVolume: { value: 900, unit: mL, author: B. Example, date: 2026-02-01, source: audit }
                  resultAge: 7
                overrides:
                  - { ward: Elm, author: C. Example, date: 2026-01-01, limits: { resultAge: 3 } }
                """)
            .limits();
    assertThat(limits.of(Limit.REVIEW_VOLUME).signature())
        .isEqualTo(new Signature("B. Example", LocalDate.of(2026, 2, 1), "audit"));
    assertThat(limits.of(Limit.RESULT_AGE).signature())
        .isEqualTo(new Signature("A. Example", LocalDate.of(2026, 3, 1), ""));
    assertThat(limits.of(Limit.RESULT_AGE, null, "Elm").signature().author())
        .isEqualTo("C. Example");
  }

  @Test
  void a_later_override_wins_where_both_fit() {
    Limits limits =
        policy(
                """
                overrides:
                  - { ward: Elm, limits: { resultAge: 3 } }
                  - { model: m, limits: { resultAge: 4, reviewVolume: 800 } }
                  - { model: m, ward: Elm, limits: { resultAge: 5 } }
                """)
            .limits();
    assertThat(limits.of(Limit.RESULT_AGE, "m", "Elm").value()).isEqualByComparingTo("5");
    assertThat(limits.of(Limit.RESULT_AGE, "m", "Rowan").value()).isEqualByComparingTo("4");
    assertThat(limits.of(Limit.RESULT_AGE, "n", "Elm").value()).isEqualByComparingTo("3");
    assertThat(limits.of(Limit.RESULT_AGE, null, null).value()).isEqualByComparingTo("31");
    assertThat(limits.of(Limit.REVIEW_VOLUME, "m", "Elm").value()).isEqualByComparingTo("800");
  }

  @Test
  void a_fleet_is_read_whole() {
    FleetDevice device =
        policy(
                """
                devices:
                  - serial: "0012"
                    model: bench scanner
                    ward: Elm
                    zone: Europe/Vienna
                    range: { from: 0, to: 999 }
                    clock: { aheadMinutes: -1.5, trusted: false }
                    calibrationDue: 2026-12-31
                """)
            .fleet()
            .devices()
            .get("0012");
    assertThat(device)
        .usingRecursiveComparison()
        .ignoringFields("range")
        .isEqualTo(
            new FleetDevice(
                "0012",
                "bench scanner",
                "Elm",
                ZoneId.of("Europe/Vienna"),
                null,
                new FleetDevice.Clock(Duration.ofSeconds(-90), false),
                LocalDate.of(2026, 12, 31),
                new Signature("A. Example", LocalDate.of(2026, 3, 1), "")));
    assertThat(device)
        .extracting(FleetDevice::range)
        .extracting("to")
        .isEqualTo(BigDecimal.valueOf(999));
  }

  @Test
  void a_severity_is_changed_for_every_stage_and_never_where_it_is_fixed() {
    Policy policy =
        policy(
            """
            severities:
              void-time-missing: reject
              measured-in-future: { severity: warn, author: B. Example, date: 2026-02-01 }
            """);
    assertThat(Measured.residual().voidedAt(null).under(policy).findings())
        .singleElement()
        .extracting(Finding::severity)
        .isEqualTo(Severity.REJECT);
    Finding elsewhere = new Finding("measured-in-future", Severity.REJECT, null, "m", "n");
    Finding other = new Finding("other", Severity.NOTE, Field.NOTE, "m", "n");
    assertThat(Checks.under(policy).applySeverities(List.of(elsewhere, other)))
        .containsExactly(elsewhere.withSeverity(Severity.WARN), other);
    assertThat(problems("severities: {patient-missing: warn}"))
        .containsExactly(
            "p.yaml:5:14: the severity of \"patient-missing\" is fixed; remove the line");
  }

  @Test
  void a_code_that_does_not_exist_is_a_problem_with_a_suggestion() {
    assertThat(problems("severities: {void-time-mising: warn}"))
        .containsExactly(
            "p.yaml:5:14: there is no finding \"void-time-mising\"; did you mean"
                + " \"void-time-missing\"?");
  }

  @Test
  void every_problem_is_named_with_its_place() {
    assertThat(problems("limits: {reviewVolume: {value: 900, unit: L}}"))
        .singleElement()
        .asString()
        .startsWith("p.yaml:5:")
        .contains("unit \"L\" must be mL");
    assertThat(problems("limits: {reviewVolum: 900}"))
        .singleElement()
        .asString()
        .contains("did you mean \"reviewVolume\"?");
    assertThat(problems("limits: {rejectVolume: 10999}"))
        .singleElement()
        .asString()
        .contains("at least 11000");
    assertThat(problems("limits: {reviewVolume: 4000}"))
        .singleElement()
        .asString()
        .contains("reviewVolume (4000) must not be above unitSuspectedVolume (3000)");
    assertThat(problems("overrides: [{author: x, limits: {resultAge: 3}}]"))
        .singleElement()
        .asString()
        .contains("names a model, a ward, or both");
    assertThat(
            problems(
                """
                ranges: [{model: m, from: 9, to: 9}, {model: n, from: 0, to: 9}, {model: n, from: 0, to: 8}]
                devices: [{serial: a, zone: Europe/Wien}, {serial: a, calibrationDue: 2026-02-30}]
                """))
        .hasSize(5)
        .anyMatch(p -> p.contains("must end above its beginning"))
        .anyMatch(p -> p.contains("the model \"n\" is given twice"))
        .anyMatch(p -> p.contains("\"Europe/Wien\" is not a zone"))
        .anyMatch(p -> p.contains("the device \"a\" is given twice"))
        .anyMatch(p -> p.contains("\"2026-02-30\" is not a day"));
    assertThat(problems("patientNumber: {checkDigit: mod12}"))
        .singleElement()
        .asString()
        .contains("mod10");
  }

  @Test
  void numbers_that_only_make_sense_in_one_order_are_in_it() {
    assertThat(problems("limits: {unitSuspectedVolume: 12000}"))
        .singleElement()
        .asString()
        .contains("unitSuspectedVolume (12000) must not be above rejectVolume (11000)");
    assertThat(problems("limits: {resultAge: 400, oldestResult: 399}"))
        .singleElement()
        .asString()
        .contains("resultAge (400) must not be above oldestResult (399)");
    assertThat(problems("limits: {lowestCoefficient: 0.9, highestCoefficient: 0.8}"))
        .singleElement()
        .asString()
        .contains("lowestCoefficient (0.9) must not be above highestCoefficient (0.8)");
    assertThat(problems("overrides: [{ward: Elm, limits: {reviewVolume: 3001}}]"))
        .singleElement()
        .asString()
        .contains("reviewVolume (3001) must not be above unitSuspectedVolume (3000)");
    assertThat(policy("limits: {reviewVolume: 3000}").versioned()).startsWith("alder-vale@");
  }

  @Test
  void the_head_of_the_file_is_required() {
    assertThat(
            catchThrowableOfType(
                    YamlProblems.class,
                    () ->
                        PolicyFile.knowing(Checks.reasons())
                            .parse(YamlFile.parse("p.yaml", "limits: {}")))
                .problems())
        .extracting(Problem::message)
        .anyMatch(m -> m.contains("policy"))
        .anyMatch(m -> m.contains("version"))
        .anyMatch(m -> m.contains("author"))
        .anyMatch(m -> m.contains("date"));
  }

  @Test
  void an_interpretation_is_the_sites_own_and_never_ambiguous() {
    String table =
        """
        interpretation:
          name: alder-vale-residual
          version: 1
          author: A. Example
          date: 2026-03-01
          source: a guideline
          rows:
            - { purpose: post-void, below: 100, code: N }
            - { purpose: post-void, atLeast: %s, code: H }
        """;
    assertThat(policy(table.formatted("100")).interpretation())
        .hasValueSatisfying(i -> assertThat(i.rows()).hasSize(2))
        .hasValueSatisfying(i -> assertThat(i.version()).isEqualTo("1"))
        .hasValueSatisfying(i -> assertThat(i.rows().get(1).atLeast()).isEqualByComparingTo("100"));
    assertThat(problems(table.formatted("99")))
        .singleElement()
        .asString()
        .contains("row 1 and row 2 overlap");
  }

  @Test
  void a_file_is_read_from_disk(@TempDir Path dir) throws Exception {
    Path file = Files.writeString(dir.resolve("policy.yaml"), HEAD);
    Policy policy = PolicyFile.knowing(Checks.reasons()).read(file);
    assertThat(policy.title()).isEqualTo("policy alder-vale, version 3");
    assertThat(
            catchThrowableOfType(
                CisternException.class,
                () -> PolicyFile.knowing(Checks.reasons()).read(dir.resolve("none.yaml"))))
        .hasMessageContaining("none.yaml");
  }

  @Test
  void the_codes_of_all_checks_differ_and_say_enough() {
    assertThat(Checks.reasons())
        .extracting(Reason::code)
        .doesNotHaveDuplicates()
        .allSatisfy(c -> assertThat(c).matches("[a-z]+(-[a-z]+)*"));
    assertThat(Checks.reasons())
        .allSatisfy(r -> assertThat(r.words()).as(r.code()).endsWith("."))
        .allSatisfy(r -> assertThat(r.next()).as(r.code()).endsWith("."))
        .allSatisfy(r -> assertThat(r.source()).as(r.code()).isNotBlank())
        .allSatisfy(
            r -> assertThat(r.fixed() && r.severity() != Severity.REJECT).as(r.code()).isFalse());
  }

  @Test
  void the_schema_knows_the_limits_of_the_program_and_their_units() throws Exception {
    JsonNode limits =
        new ObjectMapper()
            .readTree(getClass().getResourceAsStream("/schema/policy.schema.json"))
            .at("/$defs/limits/properties");
    assertThat(limits.fieldNames())
        .toIterable()
        .containsExactlyInAnyOrderElementsOf(Stream.of(Limit.values()).map(Limit::key).toList());
    for (Limit limit : Limit.values()) {
      assertThat(limits.path(limit.key()).at("/oneOf/1/properties/unit/const").asText())
          .as(limit.key())
          .isEqualTo(limit.unit());
    }
  }

  @Test
  void the_schemes_of_the_schema_are_those_of_the_program() throws Exception {
    Stream<String> schemes = Coded.words(CheckDigits.class).stream();
    assertThat(schemes)
        .allSatisfy(
            s ->
                assertThat(policy("patientNumber: {checkDigit: " + s + "}").checkDigits().code())
                    .isEqualTo(s));
  }
}
