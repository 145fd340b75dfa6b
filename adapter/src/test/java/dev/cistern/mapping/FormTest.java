// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Place;
import dev.cistern.scan.RawEntry;
import java.net.URLEncoder;
import java.nio.charset.StandardCharsets;
import java.util.Arrays;
import java.util.List;
import java.util.Map;
import java.util.Random;
import org.jspecify.annotations.Nullable;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;

class FormTest {
  private static final Mapping FORM =
      Mapping.parse(
          "m.yaml",
          """
          mapping: m
          input: { format: form }
          fields:
            volume: { from: vol, unit: mL }
            note: { from: note }
            confounders: { from: c }
            location: { from: at.ward }
          """);

  private static RawEntry one(String body, @Nullable String contentType) {
    List<RawEntry> entries =
        Decoded.all(FORM, body.getBytes(StandardCharsets.UTF_8), contentType, Limits.standard());
    assertThat(entries).hasSize(1);
    Decoded.assertReadsAgain(FORM, body.getBytes(StandardCharsets.UTF_8), contentType);
    return entries.get(0);
  }

  private static String parts(String... namesAndValues) {
    StringBuilder body = new StringBuilder();
    for (int i = 0; i < namesAndValues.length; i += 2) {
      body.append("--B\r\nContent-Disposition: form-data; name=\"")
          .append(namesAndValues[i])
          .append("\"\r\n\r\n")
          .append(namesAndValues[i + 1])
          .append("\r\n");
    }
    return body.append("--B--\r\n").toString();
  }

  private static final String URL_ENCODED = "application/x-www-form-urlencoded";
  private static final String PARTS = "multipart/form-data; boundary=B";

  @Test
  void the_same_post_is_the_same_entry_in_each_of_the_three_forms() {
    Map<String, String> expected =
        Map.of(
            "volume",
            ">999",
            "note",
            "a&b = ä+😀\r\n2",
            "confounders",
            "scar cyst",
            "location",
            "Elm");
    String urlEncoded =
        "vol=%3E999&note=a%26b+%3D+%C3%A4%2B%F0%9F%98%80%0D%0A2&c=scar&c=cyst&at.ward=Elm&other=&";
    String parts =
        parts("vol", ">999", "note", "a&b = ä+😀\r\n2", "c", "scar", "c", "cyst", "at.ward", "Elm");
    String json =
        "{\"vol\":\">999\",\"note\":\"a&b = ä+😀\\r\\n2\",\"c\":[\"scar\",\"cyst\"],\"at\":{\"ward\":\"Elm\"},\"x\":null}";
    assertThat(Decoded.texts(one(urlEncoded, URL_ENCODED))).isEqualTo(expected);
    assertThat(Decoded.texts(one(parts, PARTS))).isEqualTo(expected);
    assertThat(Decoded.texts(one(json, "application/json; charset=utf-8"))).isEqualTo(expected);
    assertThat(Decoded.texts(one(urlEncoded, null))).isEqualTo(expected);
    assertThat(Decoded.texts(one(parts, null))).isEqualTo(expected);
    assertThat(Decoded.texts(one(json, null))).isEqualTo(expected);
  }

  @Test
  void a_post_is_one_entry_that_holds_all_its_bytes() {
    RawEntry entry = one("vol=142", URL_ENCODED);
    assertThat(entry.place()).isEqualTo(new Place(1, 0, 0, 7));
    assertThat(Decoded.unit(entry, Field.VOLUME)).isEqualTo("mL");
    assertThat(Decoded.origin(entry, Field.VOLUME)).isEqualTo("form field vol");
  }

  @Test
  void a_number_in_json_keeps_its_text() {
    assertThat(Decoded.text(one("{\"vol\":142.50}", "application/json"), Field.VOLUME))
        .isEqualTo("142.50");
  }

  @Test
  void a_field_twice_with_different_values_is_a_finding_and_twice_the_same_is_not() {
    assertThat(Decoded.codes(one("vol=142&vol=143", URL_ENCODED)))
        .containsExactly("ambiguous-source");
    assertThat(Decoded.codes(one("vol=142&vol=142", URL_ENCODED))).isEmpty();
  }

  @Test
  void a_part_can_have_a_charset_of_its_own_and_quotes_in_names() {
    String body =
        "preamble\r\n--B\r\ncontent-disposition: form-data; name=vol\r\n\r\n142\r\n"
            + "--B\r\nContent-Type: text/plain; charset=ISO-8859-1\r\nContent-Disposition: form-data; name=\"note\"\r\n\r\n\u00E4\r\n--B--";
    List<RawEntry> entries =
        Decoded.all(FORM, body.getBytes(StandardCharsets.ISO_8859_1), PARTS, Limits.standard());
    assertThat(Decoded.texts(entries.get(0))).isEqualTo(Map.of("volume", "142", "note", "ä"));
  }

  @ParameterizedTest
  @CsvSource(
      delimiter = '|',
      value = {
        "'' | application/x-www-form-urlencoded | empty-submission",
        "vol=%4 | application/x-www-form-urlencoded | malformed-form",
        "vol=%zz | application/x-www-form-urlencoded | malformed-form",
        "vol=%FF | application/x-www-form-urlencoded | undecodable-bytes",
        "vol=1 | application/x-www-form-urlencoded; charset=nonsense | malformed-form",
        "vol=1 | text/plain | malformed-form",
        "vol=1 | application/xml | malformed-form",
        "vol=1 | multipart/form-data | malformed-form",
        "vol=1 | multipart/form-data; boundary=B | malformed-form",
        "--B | multipart/form-data; boundary=B | truncated-document",
        "{\"vol\":1 | application/json | truncated-document",
        "{\"vol\":1,\"vol\":2} | application/json | malformed-json",
        "[1] | application/json | malformed-form",
        "{\"vol\":[{}]} | application/json | structured-value",
      })
  void what_cannot_be_read_is_one_entry_with_a_finding(String body, String type, String code) {
    RawEntry entry = one(body, type);
    assertThat(Decoded.codes(entry)).containsExactly(code);
    assertThat(Finding.anyRejects(entry.findings())).isTrue();
  }

  @Test
  void a_file_in_a_form_is_refused_and_so_is_a_form_without_its_end() {
    String file =
        "--B\r\nContent-Disposition: form-data; name=\"f\"; filename=\"a.txt\"\r\n\r\nx\r\n--B--\r\n";
    assertThat(Decoded.codes(one(file, PARTS))).containsExactly("malformed-form");
    String whole = parts("vol", "142", "note", "x");
    for (int cut = 1; cut < whole.length() - 4; cut++) {
      RawEntry entry = one(whole.substring(0, cut), PARTS);
      assertThat(Finding.anyRejects(entry.findings())).as("cut at %d", cut).isTrue();
    }
  }

  @Test
  void a_form_that_is_too_large_is_refused() {
    assertThat(Decoded.codes(one("note=" + "x".repeat(70_000), URL_ENCODED)))
        .containsExactly("record-too-large");
    assertThat(Decoded.codes(one("a=1&".repeat(600), URL_ENCODED)))
        .containsExactly("record-too-large");
  }

  @Test
  void what_is_written_is_read_back() {
    String[] texts = {
      "142", "ä€😀", "a b+c", "%25", "&=", "\"", "\r\n", "x\r\ny", "--C", "\r\n-B", "{}"
    };
    for (long seed = 0; seed < 500; seed++) {
      Random random = new Random(seed);
      String value = texts[random.nextInt(texts.length)] + texts[random.nextInt(texts.length)];
      String url = "note=" + URLEncoder.encode(value, StandardCharsets.UTF_8);
      assertThat(Decoded.text(one(url, URL_ENCODED), Field.NOTE))
          .as("seed %d", seed)
          .isEqualTo(value.isBlank() ? null : value.strip());
      assertThat(Decoded.text(one(parts("note", value), PARTS), Field.NOTE))
          .as("seed %d", seed)
          .isEqualTo(value.isBlank() ? null : value.strip());
    }
  }

  @Test
  void junk_never_throws() {
    byte[][] goods = {
      "vol=142&note=%C3%A4".getBytes(StandardCharsets.UTF_8),
      parts("vol", "142", "note", "x").getBytes(StandardCharsets.UTF_8),
      "{\"vol\":142,\"c\":[\"scar\"]}".getBytes(StandardCharsets.UTF_8)
    };
    String[] types = {URL_ENCODED, PARTS, "application/json"};
    for (long seed = 0; seed < 2000; seed++) {
      Random random = new Random(seed);
      int kind = random.nextInt(3);
      byte[] bytes = Arrays.copyOf(goods[kind], random.nextInt(goods[kind].length + 1));
      for (int i = random.nextInt(4); i > 0 && bytes.length > 0; i--) {
        bytes[random.nextInt(bytes.length)] = (byte) random.nextInt(256);
      }
      String type = random.nextInt(4) == 0 ? null : types[kind];
      assertThat(Decoded.all(FORM, bytes, type, Limits.standard())).as("seed %d", seed).hasSize(1);
      Decoded.assertReadsAgain(FORM, bytes, type);
    }
  }
}
