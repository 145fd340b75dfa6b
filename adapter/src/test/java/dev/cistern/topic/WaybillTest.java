// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.topic;

import static org.assertj.core.api.Assertions.assertThat;

import java.nio.charset.StandardCharsets;
import java.time.Instant;
import java.util.List;
import java.util.Objects;
import org.apache.kafka.common.header.internals.RecordHeader;
import org.apache.kafka.common.header.internals.RecordHeaders;
import org.jspecify.annotations.Nullable;
import org.junit.jupiter.api.Test;

class WaybillTest {
  private static final Instant ARRIVED = Instant.parse("2026-03-14T09:05:00.123Z");

  private static Waybill of(@Nullable String name, @Nullable String key, String node) {
    return new Waybill("oak-hl7", "form", name, "text/plain", key, node, "person a.ash", ARRIVED);
  }

  private static @Nullable Waybill again(Waybill waybill) {
    return Waybill.read(new RecordHeaders(waybill.headers()));
  }

  @Test
  void what_is_written_is_read_again() {
    Waybill all = of("Befund Mörike.csv", "k-" + "ü".repeat(200), "alder-vale-1");
    assertThat(again(all)).isEqualTo(all);
    Waybill little = new Waybill("elm", "folder", null, null, null, "n", null, ARRIVED);
    assertThat(again(little)).isEqualTo(little);
  }

  @Test
  void what_no_node_of_ours_says_is_not_taken_for_a_waybill() {
    assertThat(Waybill.read(new RecordHeaders())).isNull();
    assertThat(again(of(null, null, "node\nwith a line"))).isNull();
    for (String changed : List.of("source=two words", "arrived=soon", "by=a\u0000b", "kind=")) {
      RecordHeaders headers = new RecordHeaders(of("a.csv", "k", "n").headers());
      String[] pair = changed.split("=", -1);
      headers.remove("cistern-" + pair[0]);
      headers.add(new RecordHeader("cistern-" + pair[0], pair[1].getBytes(StandardCharsets.UTF_8)));
      assertThat(Waybill.read(headers)).as(pair[0]).isNull();
    }
  }

  @Test
  void control_characters_that_a_store_may_refuse_do_not_get_through() {
    Waybill read = Objects.requireNonNull(again(of("a\u0000.csv", "k\u0000", "n")));
    assertThat(read.name()).isNull();
    assertThat(read.key()).startsWith("sha256:");
    assertThat(again(of(null, "k\u0000", "n"))).extracting(Waybill::key).isEqualTo(read.key());
  }

  @Test
  void it_shows_neither_name_nor_key() {
    assertThat(of("ZZMARK.csv", "ZZMARK", "n").toString()).doesNotContain("ZZMARK");
  }
}
