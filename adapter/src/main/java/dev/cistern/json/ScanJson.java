// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.json;

import com.fasterxml.jackson.core.JsonGenerator;
import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.scan.AbsentReason;
import dev.cistern.scan.Aim;
import dev.cistern.scan.Answer;
import dev.cistern.scan.Coded;
import dev.cistern.scan.Comparator;
import dev.cistern.scan.Confounder;
import dev.cistern.scan.ExamSetting;
import dev.cistern.scan.Field;
import dev.cistern.scan.Flag;
import dev.cistern.scan.IdEntry;
import dev.cistern.scan.Position;
import dev.cistern.scan.Purpose;
import dev.cistern.scan.Scan;
import dev.cistern.scan.Sex;
import dev.cistern.scan.Status;
import dev.cistern.scan.Volume;
import java.io.IOException;
import java.math.BigDecimal;
import java.time.LocalDate;
import java.time.OffsetDateTime;
import java.time.format.DateTimeFormatter;
import java.util.EnumMap;
import java.util.LinkedHashSet;
import java.util.List;
import java.util.Map;
import java.util.Set;
import java.util.function.Function;
import java.util.stream.StreamSupport;
import org.jspecify.annotations.Nullable;

/**
 * A scan as one flat JSON object. Keys are the canonical field names; where a value has a fixed
 * unit the key says which: {@code volumeMl}, {@code bodyHeightCm}, {@code bodyWeightKg}, {@code
 * bladderLengthCm}. Times are ISO 8601 with their offset.
 */
public final class ScanJson {
  private ScanJson() {}

  /** Whether parts that are not known are written as null or left out. */
  public enum Absent {
    AS_NULL,
    LEFT_OUT
  }

  /** The form that the ledger keeps. */
  public static String write(Scan scan) {
    return Json.text(out -> write(scan, out, Absent.LEFT_OUT));
  }

  /**
   * The same without what the sender wrote, and without what a policy or earlier arrivals made of
   * it: the mark of an untrusted clock, and "more than" at the end of a measuring range. Two scans
   * that mean the same give the same text, whatever was known when each of them came.
   */
  public static String meaning(Scan scan) {
    Scan.Measurement m = scan.measurement();
    Set<Flag> flags = new LinkedHashSet<>(m.flags());
    flags.remove(Flag.CLOCK_UNTRUSTED);
    Volume volume = m.volume();
    if (volume != null && !scan.comparatorSent()) {
      volume = Volume.millilitres(volume.millilitres());
    }
    Scan bare =
        new Scan(
            scan.subject(),
            new Scan.Measurement(
                m.measuredAt(), volume, m.absent(), m.purpose(), m.status(), flags),
            scan.voiding(),
            scan.exam(),
            scan.axes(),
            scan.device(),
            scan.handling(),
            Map.of());
    return write(bare);
  }

  public static void write(Scan scan, JsonGenerator out, Absent absent) throws IOException {
    out.writeStartObject();
    Members m = new Members(out, absent);
    Scan.Device device = scan.device();
    Scan.Handling handling = scan.handling();
    m.text("deviceSerial", device.serial());
    m.text("deviceModel", device.model());
    m.text("examId", handling.examId());
    m.count("scanNumber", handling.scanNumber());
    m.code("accepted", handling.accepted());
    measurement(scan.measurement(), m);
    Scan.VoidContext voiding = scan.voiding();
    m.time("voidedAt", voiding.voidedAt());
    m.number("minutesSinceVoid", voiding.minutesSinceVoid());
    m.volume("voidedVolumeMl", "voidedVolumeComparator", voiding.voidedVolume());
    exam(scan.exam(), m);
    m.number("bladderLengthCm", scan.axes().lengthCm());
    m.number("bladderWidthCm", scan.axes().widthCm());
    m.number("bladderHeightCm", scan.axes().heightCm());
    subject(scan.subject(), m);
    m.text("operatorId", handling.operatorId());
    m.text("location", handling.location());
    m.count("revision", handling.revision());
    m.text("note", handling.note());
    if (!scan.asSent().isEmpty()) {
      out.writeObjectFieldStart("asSent");
      for (Map.Entry<Field, String> sent : scan.asSent().entrySet()) {
        out.writeStringField(sent.getKey().key(), sent.getValue());
      }
      out.writeEndObject();
    }
    out.writeEndObject();
  }

  private static void measurement(Scan.Measurement measurement, Members m) throws IOException {
    m.time("measuredAt", measurement.measuredAt());
    m.code("purpose", measurement.purpose());
    m.volume("volumeMl", "comparator", measurement.volume());
    m.code("absentReason", measurement.absent());
    m.code("status", measurement.status());
    m.codes("flags", measurement.flags().stream().sorted().toList());
  }

  private static void exam(Scan.Exam exam, Members m) throws IOException {
    m.code("examSetting", exam.setting());
    m.code("hysterectomy", exam.hysterectomy());
    m.number("bodyHeightCm", exam.bodyHeightCm());
    m.number("bodyWeightKg", exam.bodyWeightKg());
    m.code("position", exam.position());
    m.code("aim", exam.aim());
    m.code("pubicShadow", exam.pubicShadow());
    m.codes("confounders", exam.confounders());
  }

  private static void subject(Scan.Subject subject, Members m) throws IOException {
    m.text("patientId", subject.patientId());
    m.text("patientIdSystem", subject.patientIdSystem());
    m.code("patientIdEntry", subject.entry());
    m.text("patientName", subject.name());
    LocalDate born = subject.birthDate();
    m.text("birthDate", born == null ? null : born.toString());
    m.code("sex", subject.sex());
    m.text("encounterId", subject.encounterId());
  }

  public static Scan read(String json) {
    return read(Json.tree(json));
  }

  public static Scan read(JsonNode node) {
    Map<Field, String> asSent = new EnumMap<>(Field.class);
    node.path("asSent")
        .fields()
        .forEachRemaining(
            sent ->
                Field.named(sent.getKey())
                    .ifPresent(field -> asSent.put(field, sent.getValue().asText())));
    String born = text(node, "birthDate");
    return new Scan(
        new Scan.Subject(
            text(node, "patientId"),
            text(node, "patientIdSystem"),
            text(node, "patientName"),
            born == null ? null : LocalDate.parse(born),
            code(node, "sex", Sex.class),
            text(node, "encounterId"),
            code(node, "patientIdEntry", IdEntry.class)),
        new Scan.Measurement(
            time(node, "measuredAt"),
            volume(node, "volumeMl", "comparator"),
            code(node, "absentReason", AbsentReason.class),
            orElse(code(node, "purpose", Purpose.class), Purpose.UNSPECIFIED),
            orElse(code(node, "status", Status.class), Status.FINAL),
            flags(node)),
        new Scan.VoidContext(
            time(node, "voidedAt"),
            number(node, "minutesSinceVoid"),
            volume(node, "voidedVolumeMl", "voidedVolumeComparator")),
        new Scan.Exam(
            code(node, "examSetting", ExamSetting.class),
            code(node, "hysterectomy", Answer.class),
            number(node, "bodyHeightCm"),
            number(node, "bodyWeightKg"),
            code(node, "position", Position.class),
            code(node, "aim", Aim.class),
            code(node, "pubicShadow", Answer.class),
            codes(node, "confounders", Confounder.class)),
        new Scan.Axes(
            number(node, "bladderLengthCm"),
            number(node, "bladderWidthCm"),
            number(node, "bladderHeightCm")),
        new Scan.Device(text(node, "deviceSerial"), text(node, "deviceModel")),
        new Scan.Handling(
            text(node, "examId"),
            count(node, "scanNumber"),
            code(node, "accepted", Answer.class),
            text(node, "operatorId"),
            text(node, "location"),
            count(node, "revision"),
            text(node, "note")),
        asSent);
  }

  private static <T> T orElse(@Nullable T value, T otherwise) {
    return value == null ? otherwise : value;
  }

  private static <T> @Nullable T part(JsonNode node, String key, Function<JsonNode, T> read) {
    JsonNode value = node.get(key);
    return value == null || value.isNull() ? null : read.apply(value);
  }

  private static @Nullable String text(JsonNode node, String key) {
    return part(node, key, JsonNode::asText);
  }

  private static @Nullable Integer count(JsonNode node, String key) {
    return part(node, key, JsonNode::intValue);
  }

  private static @Nullable BigDecimal number(JsonNode node, String key) {
    return part(node, key, JsonNode::decimalValue);
  }

  private static @Nullable OffsetDateTime time(JsonNode node, String key) {
    return part(node, key, value -> OffsetDateTime.parse(value.asText()));
  }

  private static <E extends Enum<E> & Coded> @Nullable E code(
      JsonNode node, String key, Class<E> type) {
    return part(node, key, value -> Coded.of(type, value.asText()).orElseThrow());
  }

  private static <E extends Enum<E> & Coded> List<E> codes(
      JsonNode node, String key, Class<E> type) {
    return StreamSupport.stream(node.path(key).spliterator(), false)
        .map(value -> Coded.of(type, value.asText()).orElseThrow())
        .toList();
  }

  private static Set<Flag> flags(JsonNode node) {
    return new LinkedHashSet<>(codes(node, "flags", Flag.class));
  }

  private static @Nullable Volume volume(JsonNode node, String key, String comparatorKey) {
    BigDecimal millilitres = number(node, key);
    return millilitres == null
        ? null
        : new Volume(millilitres, code(node, comparatorKey, Comparator.class));
  }

  /** Writes members of one object; what is not known is left out or null. */
  private record Members(JsonGenerator out, Absent absent) {

    private boolean known(String key, @Nullable Object value) throws IOException {
      if (value == null && absent == Absent.AS_NULL) {
        out.writeNullField(key);
      }
      return value != null;
    }

    void text(String key, @Nullable String value) throws IOException {
      if (known(key, value)) {
        out.writeStringField(key, value);
      }
    }

    void time(String key, @Nullable OffsetDateTime value) throws IOException {
      text(key, value == null ? null : DateTimeFormatter.ISO_OFFSET_DATE_TIME.format(value));
    }

    void code(String key, @Nullable Coded value) throws IOException {
      text(key, value == null ? null : value.code());
    }

    void count(String key, @Nullable Integer value) throws IOException {
      if (known(key, value) && value != null) {
        out.writeNumberField(key, value.intValue());
      }
    }

    void number(String key, @Nullable BigDecimal value) throws IOException {
      if (known(key, value)) {
        out.writeFieldName(key);
        out.writeNumber(value);
      }
    }

    void volume(String key, String comparatorKey, @Nullable Volume value) throws IOException {
      number(key, value == null ? null : value.millilitres());
      code(comparatorKey, value == null ? null : value.comparator());
    }

    void codes(String key, List<? extends Coded> values) throws IOException {
      if (!values.isEmpty()) {
        out.writeArrayFieldStart(key);
        for (Coded value : values) {
          out.writeString(value.code());
        }
        out.writeEndArray();
      }
    }
  }
}
