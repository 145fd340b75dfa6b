// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.scan.Coded;
import dev.cistern.scan.Field;
import java.time.Instant;
import java.time.ZoneOffset;
import java.time.format.DateTimeFormatter;
import java.time.temporal.ChronoUnit;
import java.util.ArrayList;
import java.util.Arrays;
import java.util.EnumMap;
import java.util.EnumSet;
import java.util.List;
import java.util.Map;
import java.util.Set;
import java.util.regex.Pattern;
import java.util.stream.Collectors;
import org.jspecify.annotations.Nullable;

/**
 * A result in which every canonical field holds a text that stands nowhere else, and mappings that
 * fill every field. All of it is made from the list of fields: one that is added later is marked
 * too.
 */
final class MarkedFields {
  static final String MARK = "ZQMK";
  private static final String BIRTH_DATE = "1931-07-19";
  private static final long MINUTES = 8123;
  private static final DateTimeFormatter TIME =
      DateTimeFormatter.ofPattern("yyyy-MM-dd'T'HH:mm:ss").withZone(ZoneOffset.UTC);

  /** Numbers that a scanner could have shown, and that agree with one another. */
  private static final Map<Field, String> NUMBERS =
      Map.of(
          Field.VOLUME, "417.3",
          Field.BLADDER_LENGTH, "9.871",
          Field.BLADDER_WIDTH, "9.283",
          Field.BLADDER_HEIGHT, "8.765",
          Field.BODY_HEIGHT, "171.93",
          Field.BODY_WEIGHT, "68.47");

  private static final Map<Field, String> WORDS =
      Map.of(
          Field.SEX, "female",
          Field.PURPOSE, "post-void",
          Field.EXAM_SETTING, "uterus-present",
          Field.HYSTERECTOMY, "no",
          Field.ACCEPTED, "yes",
          Field.AIM, "centred",
          Field.STATUS, "final");

  /** A volume and the reason why there is none exclude each other. */
  static final Set<Field> WITHOUT_VOLUME = EnumSet.of(Field.VOLUME);

  static final Set<Field> WITH_VOLUME = EnumSet.of(Field.ABSENT_REASON);

  private final Instant measured =
      Instant.now().minus(47, ChronoUnit.MINUTES).truncatedTo(ChronoUnit.SECONDS);

  /** What each field holds; {@code part} keeps the results of several senders apart. */
  Map<Field, String> values(String part, Set<Field> without) {
    Map<Field, String> values = new EnumMap<>(Field.class);
    for (Field field : Field.values()) {
      if (!without.contains(field)) {
        values.put(field, value(field, part));
      }
    }
    return values;
  }

  String value(Field field, String part) {
    return switch (field.kind()) {
      case TEXT ->
          field == Field.PATIENT_ID_SYSTEM ? "urn:" + MARK + ":" + part : mark(field) + part;
      case DATE ->
          field == Field.BIRTH_DATE ? BIRTH_DATE : "1931-08-" + (10 + field.ordinal() % 20);
      case TIME -> TIME.format(moment(field));
      case CODE, CODES -> mark(field);
      case VOLUME, LENGTH, MASS -> NUMBERS.getOrDefault(field, "263." + (700 + field.ordinal()));
      case MINUTES -> Long.toString(MINUTES);
      case COUNT -> Integer.toString(73_500 + field.ordinal());
    };
  }

  private Instant moment(Field field) {
    return field == Field.MEASURED_AT ? measured : measured.minus(MINUTES, ChronoUnit.MINUTES);
  }

  private static String mark(Field field) {
    return MARK + field.key();
  }

  /** Texts in which a value of any field would be seen. */
  List<Pattern> traces() {
    List<Pattern> traces = new ArrayList<>();
    traces.add(Pattern.compile("(?i)" + MARK));
    for (Field field : Field.values()) {
      String value = value(field, "");
      if (!value.contains(MARK)) {
        traces.add(alone(value));
      }
      if (field.kind() == Field.Kind.TIME) {
        traces.add(alone(TIME.format(moment(field)).replace('T', ' ')));
        traces.add(alone(TIME.format(moment(field)).replaceAll("[-:T]", "")));
        traces.add(alone(Long.toString(moment(field).toEpochMilli())));
      } else if (field.kind() == Field.Kind.DATE) {
        traces.add(alone(value.replace("-", "")));
      }
    }
    return traces;
  }

  private static Pattern alone(String value) {
    return Pattern.compile(
        "(?<![\\w.])" + Pattern.quote(value).replace(".", "\\E[.,]\\Q") + "(?![\\w])");
  }

  /** The first trace in a text; null where it has none. */
  @Nullable String trace(String text) {
    return traces().stream()
        .filter(each -> each.matcher(text).find())
        .map(Pattern::pattern)
        .findFirst()
        .orElse(null);
  }

  /**
   * A mapping that fills every field.
   *
   * @param from where a field stands in the input, {@code %s} for its key
   * @param volume where the volume stands
   */
  static String mapping(String name, String input, String from, String volume) {
    StringBuilder text =
        new StringBuilder(
            "mapping: %s%ntitle: All fields%ninput:%n%s%nfields:%n".formatted(name, input));
    StringBuilder codes = new StringBuilder("codes:\n");
    for (Field field : Field.values()) {
      String at = field == Field.VOLUME ? volume : from.formatted(field.key());
      String more =
          switch (field.kind()) {
            case VOLUME -> ", unit: mL";
            case LENGTH -> ", unit: cm";
            case MASS -> ", unit: kg";
            case CODE, CODES -> ", codes: " + field.key();
            case TEXT, DATE, TIME, MINUTES, COUNT -> "";
          };
      text.append("  %s: { from: \"%s\"%s }%n".formatted(field.key(), at, more));
      if (more.contains("codes")) {
        codes.append("  %s: { %s: %s }%n".formatted(field.key(), mark(field), word(field)));
      }
    }
    return text.append(codes).toString();
  }

  private static String word(Field field) {
    List<String> words = Coded.wordsOf(field);
    if (words.isEmpty()) {
      throw new AssertionError(field + " is coded and has no words");
    }
    return WORDS.getOrDefault(field, words.get(0));
  }

  /** Lines with a head, for the fields that a result has and blanks for the others. */
  static String lines(List<Map<Field, String>> results) {
    String head = Arrays.stream(Field.values()).map(Field::key).collect(Collectors.joining(";"));
    return head
        + "\n"
        + results.stream()
            .map(
                result ->
                    Arrays.stream(Field.values())
                            .map(field -> result.getOrDefault(field, ""))
                            .collect(Collectors.joining(";"))
                        + "\n")
            .collect(Collectors.joining());
  }

  static String form(Map<Field, String> result) {
    return result.entrySet().stream()
        .map(each -> each.getKey().key() + "=" + each.getValue().replace(":", "%3A"))
        .collect(Collectors.joining("&"));
  }

  /** An HL7 v2 message with each field in an OBX of its own. */
  static String message(Map<Field, String> result) {
    StringBuilder text =
        new StringBuilder(
            "MSH|^~\\&|ROWAN|ALDER|||20260314090500+0000||ORU^R01^ORU_R01|C%s|P|2.5.1\r"
                .formatted(Integer.toHexString(result.hashCode())));
    text.append("PID|1||ZQMKPID^^^ZQMK^MR||ZQMKNAME^ZQMKGIVEN||19310719|F\rPV1|1|I|ZQMKBED\r");
    text.append("OBR|1|ZQMKPLACER|ZQMKFILLER|ZQMK^ZQMK^L|||20260314090500+0000\r");
    text.append("OBX|1|ST|VOL||").append(result.getOrDefault(Field.VOLUME, "")).append("\r");
    int number = 2;
    for (Map.Entry<Field, String> each : result.entrySet()) {
      if (each.getKey() != Field.VOLUME) {
        text.append("OBX|%d|ST|%s||%s\r".formatted(number++, each.getKey().key(), each.getValue()));
      }
    }
    return text.toString();
  }
}
