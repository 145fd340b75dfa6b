// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.topic;

import dev.cistern.config.Settings;
import dev.cistern.json.Json;
import dev.cistern.ledger.Handover;
import dev.cistern.refine.RecordDesk.Taken;
import dev.cistern.refine.RefineReason;
import java.nio.charset.StandardCharsets;
import java.util.Objects;
import java.util.Set;
import java.util.regex.Pattern;
import org.apache.kafka.clients.consumer.ConsumerRecord;
import org.apache.kafka.common.header.Header;
import org.jspecify.annotations.Nullable;

/**
 * Says of a record which source it belongs to, what is known of its way here, and whether it can be
 * read at all. The record's own key and foreign headers are not kept: nobody knows what stands in
 * them.
 */
final class Unpacking {
  private static final Pattern MEDIA_TYPE = Pattern.compile("[\\w.+-]+/[\\w.+-]+(;[\\w =.+\"-]*)?");

  private final Settings.Kafka settings;
  private final Set<String> relayed;

  /**
   * @param relayed the sources of other nodes that this one can read
   */
  Unpacking(Settings.Kafka settings, Set<String> relayed) {
    this.settings = settings;
    this.relayed = Set.copyOf(relayed);
  }

  Taken taken(ConsumerRecord<byte[], byte[]> record) {
    byte[] value = record.value();
    byte[] bytes = value == null ? new byte[0] : value;
    Waybill waybill = Waybill.read(record.headers());
    String place = record.topic() + "/" + record.partition() + "/" + record.offset();
    RefineReason held = held(bytes, waybill);
    boolean ours = waybill != null && relayed.contains(waybill.source());
    Handover handover =
        ours
            ? handover(Objects.requireNonNull(waybill))
            : new Handover(settings.name(), settings.kind(), place, contentType(record), null);
    return new Taken(handover, place, cameBy(record, ours ? waybill : null), bytes, held);
  }

  private static Handover handover(Waybill waybill) {
    return new Handover(
        waybill.source(), waybill.kind(), waybill.name(), waybill.contentType(), waybill.key());
  }

  private @Nullable RefineReason held(byte[] bytes, @Nullable Waybill waybill) {
    if (bytes.length == 0) {
      return RefineReason.RECORD_EMPTY;
    } else if (bytes.length > settings.topic().largestRecord()) {
      return RefineReason.RECORD_TOO_LARGE;
    }
    return waybill != null && !relayed.contains(waybill.source())
        ? RefineReason.RECORD_SOURCE_UNKNOWN
        : null;
  }

  private static @Nullable String contentType(ConsumerRecord<byte[], byte[]> record) {
    Header header = record.headers().lastHeader("content-type");
    byte[] value = header == null ? null : header.value();
    String text =
        value == null || value.length > 100 ? null : new String(value, StandardCharsets.UTF_8);
    return text != null && MEDIA_TYPE.matcher(text).matches() ? text : null;
  }

  private static String cameBy(ConsumerRecord<byte[], byte[]> record, @Nullable Waybill waybill) {
    return Json.text(
        out -> {
          out.writeStartObject();
          out.writeStringField("topic", record.topic());
          out.writeNumberField("partition", record.partition());
          out.writeNumberField("offset", record.offset());
          if (waybill != null) {
            out.writeStringField("node", waybill.node());
            out.writeStringField("arrivedAt", waybill.arrived().toString());
            String by = waybill.by();
            if (by != null) {
              out.writeStringField("by", by);
            }
          }
          out.writeEndObject();
        });
  }
}
