// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.topic;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.mapping.Mapping;
import java.nio.charset.StandardCharsets;
import java.nio.file.Path;
import org.junit.jupiter.api.Test;

class RecordKeysTest {
  private static final Mapping LINES = Mapping.read(Path.of("../mappings/willow-lines.yaml"));

  private static byte[] key(String source, String... serials) {
    StringBuilder text = new StringBuilder();
    for (String serial : serials) {
      text.append(
              "{\"patientId\":\"9990000018\",\"volume\":100,\"unit\":\"mL\",\"deviceSerial\":\"")
          .append(serial)
          .append("\"}\n");
    }
    return RecordKeys.of(source, LINES, null, text.toString().getBytes(StandardCharsets.UTF_8));
  }

  @Test
  void what_one_device_sends_has_one_key_whatever_the_source() {
    assertThat(key("elm", "WG-1", "WG-1")).isEqualTo(key("oak", "WG-1"));
    assertThat(key("elm", "WG-1")).isNotEqualTo(key("elm", "WG-2"));
    assertThat(RecordKeys.of("bedside", "WG-1")).isEqualTo(key("elm", "WG-1"));
  }

  @Test
  void several_devices_or_none_stand_under_their_source() {
    byte[] source = RecordKeys.of("elm", (String) null);
    assertThat(key("elm", "WG-1", "WG-2")).isEqualTo(source);
    assertThat(key("elm", "")).isEqualTo(source);
    assertThat(key("elm")).isEqualTo(source);
    assertThat(key("elm", "\"} no JSON")).isEqualTo(source);
    assertThat(key("oak", "")).isNotEqualTo(source);
  }

  @Test
  void a_key_is_a_hash_since_anything_may_stand_where_the_serial_should() {
    assertThat(new String(key("elm", "9990000018"), StandardCharsets.ISO_8859_1))
        .doesNotContain("999");
  }
}
