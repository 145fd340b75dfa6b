// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static org.assertj.core.api.Assertions.assertThat;

import com.fasterxml.jackson.databind.JsonNode;
import com.fasterxml.jackson.databind.ObjectMapper;
import dev.cistern.scan.Coded;
import dev.cistern.scan.Field;
import java.io.InputStream;
import java.util.Arrays;
import java.util.List;
import java.util.Locale;
import org.junit.jupiter.api.BeforeAll;
import org.junit.jupiter.api.Test;

class MappingSchemaTest {
  private static JsonNode schema;

  @BeforeAll
  static void read() throws Exception {
    try (InputStream in = Mapping.class.getClassLoader().getResourceAsStream(Mapping.SCHEMA)) {
      schema = new ObjectMapper().readTree(in);
    }
  }

  private static List<String> keys(JsonNode node) {
    return node.properties().stream().map(java.util.Map.Entry::getKey).toList();
  }

  @Test
  void every_canonical_field_can_be_mapped_and_no_other() {
    String[] fields = Arrays.stream(Field.values()).map(Field::key).toArray(String[]::new);
    assertThat(keys(schema.at("/properties/fields/properties"))).containsExactlyInAnyOrder(fields);
    assertThat(keys(schema.at("/properties/defaults/properties")))
        .containsExactlyInAnyOrder(fields);
  }

  @Test
  void the_rule_of_each_field_fits_its_kind() {
    for (Field field : Field.values()) {
      String rule = schema.at("/properties/fields/properties/" + field.key() + "/$ref").asText();
      JsonNode keys = schema.at(rule.substring(1)).path("properties");
      assertThat(keys.has("pattern"))
          .as("pattern of %s", field.key())
          .isEqualTo(field.kind() == Field.Kind.TIME || field.kind() == Field.Kind.DATE);
      assertThat(keys.has("unit"))
          .as("unit of %s", field.key())
          .isEqualTo(
              List.of(Field.Kind.VOLUME, Field.Kind.LENGTH, Field.Kind.MASS)
                  .contains(field.kind()));
      if (!Coded.wordsOf(field).isEmpty()) {
        assertThat(keys.has("codes")).as("codes of %s", field.key()).isTrue();
      }
    }
  }

  @Test
  void the_words_of_each_coded_field_are_in_its_description() {
    for (Field field : Field.values()) {
      String description =
          schema.at("/properties/fields/properties/" + field.key() + "/description").asText();
      assertThat(description).as("description of %s", field.key()).isNotEmpty();
      for (String word : Coded.wordsOf(field)) {
        assertThat(description.toLowerCase(Locale.ROOT)).as(field.key()).contains(word);
      }
    }
  }
}
