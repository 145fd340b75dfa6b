// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.scan.Coded;
import dev.cistern.scan.Purpose;
import dev.cistern.yaml.Problem;
import dev.cistern.yaml.YamlFile;
import java.math.BigDecimal;
import java.time.DateTimeException;
import java.time.Duration;
import java.time.LocalDate;
import java.time.ZoneId;
import java.util.ArrayList;
import java.util.EnumMap;
import java.util.HashMap;
import java.util.List;
import java.util.Map;
import java.util.Optional;
import org.jspecify.annotations.Nullable;

/**
 * Takes the parts of a policy out of a tree that fits the schema, and notes what is still wrong.
 */
final class PolicyReader {
  private static final BigDecimal SIXTY = BigDecimal.valueOf(60);

  private final YamlFile file;
  private final List<Problem> problems = new ArrayList<>();
  private final String title;
  private final Signature whole;

  PolicyReader(YamlFile file) {
    this.file = file;
    this.title = Policy.title(text("/policy"), text("/version"));
    this.whole = new Signature(text("/author"), day("/date", LocalDate.EPOCH), text("/source"));
  }

  List<Problem> problems() {
    return problems;
  }

  void wrong(String pointer, String message) {
    problems.add(file.at(pointer, message));
  }

  void wrongKey(String pointer, String message) {
    problems.add(file.atKey(pointer, message));
  }

  /** A scalar as it was written; empty where there is none. */
  String text(String pointer) {
    return file.text(pointer).orElse("");
  }

  private @Nullable String textOrNull(String pointer) {
    return file.text(pointer).orElse(null);
  }

  /** Whoever signed the whole file. */
  Signature signature() {
    return whole;
  }

  /** Whoever signed the entry, else what is around it. */
  private Signature signature(String pointer, JsonNode node, Signature around) {
    return new Signature(
        node.path("author").asText(around.author()),
        node.has("date") ? day(pointer + "/date", around.date()) : around.date(),
        node.path("source").asText(around.source()));
  }

  private LocalDate day(String pointer, LocalDate otherwise) {
    try {
      return LocalDate.parse(text(pointer));
    } catch (DateTimeException e) {
      wrong(pointer, "\"" + text(pointer) + "\" is not a day; write it as 2026-03-01");
      return otherwise;
    }
  }

  Limits limits(JsonNode tree, Map<Limit, Setting> base) {
    Map<Limit, Setting> general = new EnumMap<>(Limit.class);
    general.putAll(base);
    general.putAll(settings("/limits", tree.path("limits"), whole));
    ordered("/limits", general);
    List<Limits.Deviation> overrides = new ArrayList<>();
    for (int i = 0; i < tree.path("overrides").size(); i++) {
      String pointer = "/overrides/" + i;
      JsonNode node = tree.path("overrides").path(i);
      Map<Limit, Setting> settings =
          settings(pointer + "/limits", node.path("limits"), signature(pointer, node, whole));
      Map<Limit, Setting> effective = new EnumMap<>(general);
      effective.putAll(settings);
      ordered(pointer + "/limits", effective);
      if (!node.has("model") && !node.has("ward")) {
        wrong(pointer, "an override names a model, a ward, or both");
      }
      overrides.add(
          new Limits.Deviation(
              textOrNull(pointer + "/model"), textOrNull(pointer + "/ward"), settings));
    }
    return new Limits(general, overrides);
  }

  private Map<Limit, Setting> settings(String pointer, JsonNode node, Signature around) {
    Map<Limit, Setting> settings = new EnumMap<>(Limit.class);
    for (Limit limit : Limit.values()) {
      JsonNode entry = node.path(limit.key());
      if (!entry.isMissingNode()) {
        BigDecimal value =
            entry.isNumber() ? entry.decimalValue() : entry.path("value").decimalValue();
        String place = pointer + "/" + limit.key();
        settings.put(limit, new Setting(limit, value, signature(place, entry, around), title));
      }
    }
    return settings;
  }

  /** Numbers that only make sense in one order. */
  private void ordered(String pointer, Map<Limit, Setting> settings) {
    ordered(pointer, settings, Limit.REVIEW_VOLUME, Limit.UNIT_SUSPECTED_VOLUME);
    ordered(pointer, settings, Limit.UNIT_SUSPECTED_VOLUME, Limit.REJECT_VOLUME);
    ordered(pointer, settings, Limit.RESULT_AGE, Limit.OLDEST_RESULT);
    ordered(pointer, settings, Limit.LOWEST_COEFFICIENT, Limit.HIGHEST_COEFFICIENT);
  }

  private void ordered(String pointer, Map<Limit, Setting> settings, Limit lower, Limit higher) {
    Setting low = settings.get(lower);
    Setting high = settings.get(higher);
    if (low != null && high != null && low.value().compareTo(high.value()) > 0) {
      wrong(
          pointer,
          "%s (%s) must not be above %s (%s)"
              .formatted(
                  lower.key(),
                  Words.number(low.value()),
                  higher.key(),
                  Words.number(high.value())));
    }
  }

  Map<String, MeasuringRange> ranges(JsonNode list) {
    Map<String, MeasuringRange> ranges = new HashMap<>();
    for (int i = 0; i < list.size(); i++) {
      String pointer = "/ranges/" + i;
      MeasuringRange range = range(pointer, list.path(i));
      if (range != null && ranges.put(text(pointer + "/model"), range) != null) {
        wrong(pointer + "/model", "the model \"" + text(pointer + "/model") + "\" is given twice");
      }
    }
    return ranges;
  }

  private @Nullable MeasuringRange range(String pointer, JsonNode node) {
    if (node.isMissingNode()) {
      return null;
    }
    BigDecimal from = node.path("from").decimalValue();
    BigDecimal to = node.path("to").decimalValue();
    if (from.compareTo(to) >= 0) {
      wrong(pointer, "the measuring range must end above its beginning");
      return null;
    }
    return new MeasuringRange(from, to, signature(pointer, node, whole), title);
  }

  Map<String, FleetDevice> devices(JsonNode list) {
    Map<String, FleetDevice> devices = new HashMap<>();
    for (int i = 0; i < list.size(); i++) {
      FleetDevice device = device("/devices/" + i, list.path(i));
      if (devices.put(device.serial(), device) != null) {
        wrong("/devices/" + i + "/serial", "the device \"" + device.serial() + "\" is given twice");
      }
    }
    return devices;
  }

  private static FleetDevice.Clock clock(JsonNode node) {
    JsonNode minutes = node.path("aheadMinutes");
    return new FleetDevice.Clock(
        minutes.isNumber()
            ? Duration.ofSeconds(minutes.decimalValue().multiply(SIXTY).longValue())
            : null,
        node.path("trusted").asBoolean(true));
  }

  private FleetDevice device(String pointer, JsonNode node) {
    JsonNode clock = node.path("clock");
    return new FleetDevice(
        text(pointer + "/serial"),
        textOrNull(pointer + "/model"),
        textOrNull(pointer + "/ward"),
        node.has("zone") ? zone(pointer + "/zone") : null,
        range(pointer + "/range", node.path("range")),
        clock.isEmpty() ? null : clock(clock),
        node.has("calibrationDue") ? day(pointer + "/calibrationDue", LocalDate.MAX) : null,
        signature(pointer, node, whole));
  }

  private @Nullable ZoneId zone(String pointer) {
    try {
      return ZoneId.of(text(pointer));
    } catch (DateTimeException e) {
      wrong(pointer, "\"" + text(pointer) + "\" is not a zone; write it as Europe/Vienna");
      return null;
    }
  }

  Optional<Interpretation> interpretation(JsonNode node) {
    if (!node.isObject()) {
      return Optional.empty();
    }
    List<Interpretation.Row> rows = new ArrayList<>();
    for (int i = 0; i < node.path("rows").size(); i++) {
      JsonNode row = node.path("rows").path(i);
      Interpretation.Row read =
          new Interpretation.Row(
              Coded.of(Purpose.class, row.path("purpose").asText()).orElse(Purpose.UNSPECIFIED),
              row.has("atLeast") ? row.path("atLeast").decimalValue() : null,
              row.has("below") ? row.path("below").decimalValue() : null,
              row.path("code").asText());
      for (int j = 0; j < rows.size(); j++) {
        if (read.overlaps(rows.get(j))) {
          wrong(
              "/interpretation/rows/" + i,
              "row %d and row %d overlap; each volume has one interpretation"
                  .formatted(j + 1, i + 1));
        }
      }
      rows.add(read);
    }
    return Optional.of(
        new Interpretation(
            text("/interpretation/name"),
            text("/interpretation/version"),
            signature("/interpretation", node, whole),
            rows));
  }
}
