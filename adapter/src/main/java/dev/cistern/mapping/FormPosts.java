// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static dev.cistern.mapping.DecodeReason.EMPTY_SUBMISSION;
import static dev.cistern.mapping.DecodeReason.MALFORMED_FORM;
import static dev.cistern.mapping.DecodeReason.RECORD_TOO_LARGE;
import static dev.cistern.mapping.DecodeReason.STRUCTURED_VALUE;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.scan.Place;
import dev.cistern.scan.RawEntry;
import java.io.IOException;
import java.io.InputStream;
import java.nio.charset.Charset;
import java.nio.charset.StandardCharsets;
import java.util.Collection;
import java.util.List;
import java.util.Map;
import org.jspecify.annotations.Nullable;

/** Decodes one form post, URL-encoded, in parts or as a JSON object: always one entry. */
final class FormPosts implements Decoder {
  private final Charset charset;
  private final Collection<FieldRule> rules;

  FormPosts(Input input, Collection<FieldRule> rules) {
    this.charset = input.charset() == null ? StandardCharsets.UTF_8 : input.charset();
    this.rules = rules;
  }

  @Override
  public EntryReader open(InputStream bytes, @Nullable String contentType, Limits limits) {
    return new DocumentReader(
        bytes,
        () -> {
          byte[] body = bytes.readNBytes(limits.recordBytes());
          if (body.length == limits.recordBytes() && bytes.read() >= 0) {
            throw new DecodeFault(
                RECORD_TOO_LARGE,
                "The form is larger than " + (limits.recordBytes() >> 10) + " KiB.");
          }
          FormFields fields = fields(body, contentType, limits);
          return new DocumentReader.Entries() {
            @Override
            public int count() {
              return 1;
            }

            @Override
            public RawEntry entry(int index) {
              Place place = new Place(1, 0, 0, body.length);
              return FieldFill.entry(place, rules, new FormRow(fields), List.of());
            }
          };
        });
  }

  private FormFields fields(byte[] body, @Nullable String contentType, Limits limits)
      throws DecodeFault {
    if (new String(body, StandardCharsets.ISO_8859_1).isBlank()) {
      throw new DecodeFault(EMPTY_SUBMISSION, "The form is empty.");
    }
    ContentType type =
        contentType == null || contentType.isBlank()
            ? guessed(body)
            : ContentType.parse(contentType);
    Charset written = Multipart.charset(type, charset);
    FormFields fields = new FormFields(limits.fields());
    switch (type.type()) {
      case "application/x-www-form-urlencoded" ->
          fields.addUrlEncoded(FormFields.decoded(body, StandardCharsets.UTF_8), written);
      case "multipart/form-data" ->
          new Multipart(body, type.parameter("boundary"), written).addTo(fields);
      case "application/json" -> addJson(body, written, limits, fields);
      default ->
          throw new DecodeFault(
              MALFORMED_FORM,
              "The content type is neither a URL-encoded form, nor a form in parts, nor JSON.");
    }
    return fields;
  }

  /** What a body is that nobody names: the first line of a form in parts is its boundary. */
  private static ContentType guessed(byte[] body) {
    String text = new String(body, StandardCharsets.ISO_8859_1);
    if (text.stripLeading().startsWith("{")) {
      return new ContentType("application/json", Map.of());
    }
    int end = text.indexOf("\r\n");
    return text.startsWith("--") && end > 2
        ? new ContentType("multipart/form-data", Map.of("boundary", text.substring(2, end)))
        : new ContentType("application/x-www-form-urlencoded", Map.of());
  }

  private static void addJson(byte[] body, Charset written, Limits limits, FormFields fields)
      throws DecodeFault {
    Encoding encoding = Encoding.of(body, written);
    byte[] text = java.util.Arrays.copyOfRange(body, encoding.bom(), body.length);
    JsonNode root = JsonTree.of(FormFields.decoded(text, encoding.charset()), limits);
    if (!root.isObject()) {
      throw new DecodeFault(MALFORMED_FORM, "The form must be a JSON object.");
    }
    addMembers(root, "", fields);
  }

  /** Members of members are named with a point between. */
  private static void addMembers(JsonNode object, String prefix, FormFields fields)
      throws DecodeFault {
    for (Map.Entry<String, JsonNode> member : object.properties()) {
      String name = prefix + member.getKey();
      JsonNode node = member.getValue();
      if (node.isObject()) {
        addMembers(node, name + ".", fields);
      } else if (node.isArray()) {
        for (JsonNode item : node) {
          if (item.isContainerNode()) {
            throw new DecodeFault(
                STRUCTURED_VALUE, "A member of the JSON form is a list of structures.");
          }
          fields.add(name, item.isNull() ? "" : item.asText());
        }
      } else {
        fields.add(name, node.isNull() ? "" : node.asText());
      }
    }
  }

  private record FormRow(FormFields fields) implements Row {
    @Override
    public Found find(String source) {
      return Found.texts(fields.get(source));
    }

    @Override
    public String origin(String source) {
      return "form field " + source;
    }
  }

  @Override
  public RawEntry readAt(ByteSource bytes, @Nullable String contentType, Place place, Limits limits)
      throws IOException {
    return Replay.whole(open(bytes.open(), contentType, limits), place);
  }
}
