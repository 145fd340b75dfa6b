// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Field;
import dev.cistern.scan.FieldValue;
import dev.cistern.scan.Finding;
import dev.cistern.scan.RawEntry;
import java.io.ByteArrayInputStream;
import java.io.IOException;
import java.nio.charset.StandardCharsets;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.TreeMap;
import org.jspecify.annotations.Nullable;

/** What tests ask of decoded entries. */
final class Decoded {
  /** The mapping files that are published with the program. */
  static final Path PUBLISHED = Path.of("..", "mappings");

  private Decoded() {}

  static Mapping published(String name) {
    return Mapping.read(PUBLISHED.resolve(name + ".yaml"));
  }

  static List<RawEntry> all(Mapping mapping, String text) {
    return all(mapping, text.getBytes(StandardCharsets.UTF_8));
  }

  static List<RawEntry> all(Mapping mapping, byte[] bytes) {
    return all(mapping, bytes, null, Limits.standard());
  }

  static List<RawEntry> all(
      Mapping mapping, byte[] bytes, @Nullable String contentType, Limits limits) {
    try (EntryReader reader = mapping.open(new ByteArrayInputStream(bytes), contentType, limits)) {
      List<RawEntry> entries = new ArrayList<>();
      for (RawEntry e = reader.next(); e != null; e = reader.next()) {
        entries.add(e);
      }
      assertThat(reader.next()).as("the end stays the end").isNull();
      return entries;
    } catch (IOException e) {
      throw new AssertionError(e);
    }
  }

  static RawEntry one(Mapping mapping, String text) {
    List<RawEntry> entries = all(mapping, text);
    assertThat(entries).hasSize(1);
    return entries.get(0);
  }

  /** The texts by field, for comparing in one go. */
  static Map<String, String> texts(RawEntry entry) {
    Map<String, String> texts = new TreeMap<>();
    entry.fields().values().forEach((field, value) -> texts.put(field.key(), value.text()));
    return texts;
  }

  static List<String> codes(RawEntry entry) {
    return entry.findings().stream().map(Finding::code).toList();
  }

  /** The codes of several entries, one list each. */
  static List<List<String>> codes(List<RawEntry> entries) {
    return entries.stream().map(Decoded::codes).toList();
  }

  static @Nullable String text(RawEntry entry, Field field) {
    FieldValue value = entry.fields().get(field);
    return value == null ? null : value.text();
  }

  static @Nullable String unit(RawEntry entry, Field field) {
    FieldValue value = entry.fields().get(field);
    return value == null ? null : value.unit();
  }

  static @Nullable String origin(RawEntry entry, Field field) {
    FieldValue value = entry.fields().get(field);
    return value == null ? null : value.origin();
  }

  /** Each entry, decoded alone at its place, is the same again. */
  static void assertReadsAgain(Mapping mapping, byte[] bytes, @Nullable String contentType) {
    List<RawEntry> entries = all(mapping, bytes, contentType, Limits.standard());
    for (RawEntry entry : entries) {
      try {
        RawEntry again =
            mapping.readAt(ByteSource.of(bytes), contentType, entry.place(), Limits.standard());
        assertThat(again).as("%s", entry.place()).isEqualTo(entry);
      } catch (IOException e) {
        throw new AssertionError(e);
      }
    }
  }
}
