// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.docs;

import static org.assertj.core.api.Assertions.assertThat;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.json.Json;
import java.io.InputStream;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import org.junit.jupiter.api.Test;

/** The page of all settings is written from the schema that the settings are checked against. */
class ConfigurationPageTest {
  private static final Path PAGE = Path.of("docs/configuration.md");
  private static final String MARK = "<!-- keys -->\n";

  private static JsonNode schema() throws Exception {
    try (InputStream in =
        ConfigurationPageTest.class.getResourceAsStream("/schema/cistern.schema.json")) {
      return Json.tree(
          new String(Objects.requireNonNull(in).readAllBytes(), StandardCharsets.UTF_8));
    }
  }

  private static String page(JsonNode schema) {
    StringBuilder page = new StringBuilder();
    section("The installation", "", schema, "", page);
    return page.toString();
  }

  private static void section(
      String title, String about, JsonNode object, String path, StringBuilder page) {
    List<Map.Entry<String, JsonNode>> sections = new ArrayList<>();
    page.append("\n## ").append(title).append("\n\n");
    if (!about.isEmpty()) {
      page.append(about).append("\n\n");
    }
    page.append("| key | meaning | default |\n| --- | --- | --- |\n");
    object
        .path("properties")
        .fields()
        .forEachRemaining(
            each -> {
              if (each.getValue().has("properties") || each.getValue().has("items")) {
                sections.add(each);
              } else {
                page.append(row(each.getKey(), each.getValue(), object));
              }
            });
    for (Map.Entry<String, JsonNode> each : sections) {
      String name = path + each.getKey();
      JsonNode inner =
          each.getValue().has("items") ? each.getValue().path("items") : each.getValue();
      section(
          "`" + name + "`", each.getValue().path("description").asText(), inner, name + ".", page);
    }
  }

  private static String row(String key, JsonNode property, JsonNode object) {
    boolean required = false;
    for (JsonNode name : object.path("required")) {
      required |= name.asText().equals(key);
    }
    JsonNode otherwise = property.path("default");
    String value =
        required
            ? "must be given"
            : otherwise.isMissingNode() ? "none" : "`" + otherwise.asText() + "`";
    return "| `%s` | %s%s | %s |\n"
        .formatted(key, property.path("description").asText(), bounds(property), value);
  }

  private static String bounds(JsonNode property) {
    if (property.has("enum")) {
      List<String> words = new ArrayList<>();
      property.path("enum").forEach(word -> words.add("`" + word.asText() + "`"));
      return " One of " + String.join(", ", words) + ".";
    }
    return property.has("minimum")
        ? " " + property.path("minimum").asText() + " to " + property.path("maximum").asText() + "."
        : "";
  }

  @Test
  void the_page_lists_every_key_with_its_meaning_and_default() throws Exception {
    String page = Files.readString(PAGE);
    int mark = page.indexOf(MARK);
    assertThat(mark).as("the mark %s in %s", MARK, PAGE).isPositive();
    String written = page.substring(0, mark) + MARK + page(schema());
    if (Boolean.getBoolean("cistern.docs.write")) {
      Files.writeString(PAGE, written);
    }
    assertThat(Files.readString(PAGE))
        .as("run this test with -Dcistern.docs.write=true to write the page anew")
        .isEqualTo(written);
  }

  @Test
  void every_key_has_a_meaning() throws Exception {
    assertThat(page(schema())).doesNotContain("|  |").doesNotContain("| . ").contains("| `port` |");
  }
}
