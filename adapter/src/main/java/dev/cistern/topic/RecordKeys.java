// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.topic;

import dev.cistern.mapping.EntryReader;
import dev.cistern.mapping.Limits;
import dev.cistern.mapping.Mapping;
import dev.cistern.scan.Field;
import dev.cistern.scan.FieldValue;
import dev.cistern.scan.RawEntry;
import dev.cistern.scan.Sha256;
import java.io.ByteArrayInputStream;
import java.io.IOException;
import java.nio.charset.StandardCharsets;
import java.util.Arrays;
import java.util.HashSet;
import java.util.Set;
import org.jspecify.annotations.Nullable;

/**
 * The key of a record: what one device sends stays in its order. Where results of several devices
 * come together, or none is named, the source stands for them. Only hashes: what a sender wrote
 * into the field of the serial may be anything.
 */
final class RecordKeys {
  private static final int LENGTH = 12;

  private RecordKeys() {}

  static byte[] of(String source, Mapping mapping, @Nullable String contentType, byte[] bytes) {
    Set<String> devices = new HashSet<>();
    try (EntryReader reader =
        mapping.open(new ByteArrayInputStream(bytes), contentType, Limits.standard())) {
      for (RawEntry raw = reader.next(); raw != null; raw = reader.next()) {
        FieldValue serial = raw.fields().get(Field.DEVICE_SERIAL);
        devices.add(serial == null ? "" : serial.sent().strip());
      }
    } catch (IOException | RuntimeException | StackOverflowError e) {
      return ofSource(source); // why it cannot be read is found where it is read in earnest
    }
    return devices.size() == 1 ? of(source, devices.iterator().next()) : ofSource(source);
  }

  /** The key of what one device sent; an empty serial names none. */
  static byte[] of(String source, @Nullable String serial) {
    return serial == null || serial.isBlank() ? ofSource(source) : hash("device " + serial.strip());
  }

  private static byte[] ofSource(String source) {
    return hash("source " + source);
  }

  private static byte[] hash(String text) {
    return Arrays.copyOf(Sha256.of(text.getBytes(StandardCharsets.UTF_8)), LENGTH);
  }
}
