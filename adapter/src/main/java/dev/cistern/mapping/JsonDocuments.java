// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static dev.cistern.mapping.DecodeReason.MALFORMED_JSON;
import static dev.cistern.mapping.DecodeReason.NO_ENTRIES;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.mapping.JsonSources.At;
import dev.cistern.scan.Fields;
import dev.cistern.scan.Place;
import dev.cistern.scan.RawEntry;
import java.io.IOException;
import java.io.InputStream;
import java.nio.charset.Charset;
import java.nio.charset.StandardCharsets;
import java.util.Collection;
import java.util.List;
import org.jspecify.annotations.Nullable;

/** Decodes JSON: one document with any number of records. */
final class JsonDocuments implements Decoder {
  private final Charset charset;
  private final boolean allowEmpty;
  private final @Nullable String records;
  private final Collection<FieldRule> rules;
  private final JsonSources sources = new JsonSources();

  JsonDocuments(Input input, Collection<FieldRule> rules) {
    this.charset = input.charset() == null ? StandardCharsets.UTF_8 : input.charset();
    this.allowEmpty = input.allowEmpty();
    this.records = input.selection().path();
    this.rules = rules;
  }

  @Override
  public EntryReader open(InputStream bytes, @Nullable String contentType, Limits limits) {
    return new DocumentReader(
        bytes,
        () -> {
          TextDocument document = TextDocument.read(bytes, head -> charset, limits.documentBytes());
          return entries(document, JsonTree.of(document.text(), limits));
        });
  }

  private DocumentReader.Entries entries(TextDocument document, JsonNode root) throws DecodeFault {
    List<At> found = sources.records(root, records);
    if (found.isEmpty() && !(allowEmpty && isEmptyList(root))) {
      throw new DecodeFault(
          NO_ENTRIES,
          "There is no record at "
              + (records == null ? "the top" : records)
              + " of the JSON document.");
    }
    return new DocumentReader.Entries() {
      @Override
      public int count() {
        return found.size();
      }

      @Override
      public RawEntry entry(int index) {
        return JsonDocuments.this.entry(document, found.get(index), index + 1);
      }
    };
  }

  /** A list without members was meant to be empty; a list that is not there was not. */
  private boolean isEmptyList(JsonNode root) {
    if (records == null) {
      return root.isArray();
    }
    return !records.endsWith("[*]")
        || sources.records(root, records.substring(0, records.length() - 3)).stream()
            .anyMatch(at -> at.node().isArray());
  }

  private RawEntry entry(TextDocument document, At at, int ordinal) {
    if (!(at.node() instanceof PlacedObject object)) {
      return new RawEntry(
          document.nowhere(ordinal),
          Fields.NONE,
          List.of(MALFORMED_JSON.found("At " + at.path() + " there is no JSON object.")));
    }
    Place place = document.place(ordinal, object.line(), object.start(), object.end());
    return FieldFill.entry(place, rules, new JsonRow(sources, at.path(), object), List.of());
  }

  @Override
  public RawEntry readAt(ByteSource bytes, @Nullable String contentType, Place place, Limits limits)
      throws IOException {
    return Replay.within(open(bytes.open(), contentType, limits), place);
  }
}
