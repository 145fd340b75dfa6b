// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.yaml;

import com.networknt.schema.Schema;
import com.networknt.schema.SchemaRegistry;
import com.networknt.schema.SpecificationVersion;
import dev.cistern.scan.CisternException;
import java.io.IOException;
import java.io.InputStream;
import java.util.List;
import java.util.Map;
import java.util.concurrent.ConcurrentHashMap;

/** Checks a file against a JSON Schema and says each violation as a sentence with its place. */
final class SchemaCheck {
  private static final SchemaRegistry REGISTRY =
      SchemaRegistry.withDefaultDialect(SpecificationVersion.DRAFT_2020_12);
  private static final Map<String, Schema> SCHEMAS = new ConcurrentHashMap<>();

  private final YamlFile file;
  private final Schema schema;

  SchemaCheck(YamlFile file, String resource) {
    this.file = file;
    this.schema = SCHEMAS.computeIfAbsent(resource, SchemaCheck::load);
  }

  private static Schema load(String resource) {
    try (InputStream in = SchemaCheck.class.getClassLoader().getResourceAsStream(resource)) {
      if (in == null) {
        throw new CisternException(
            "The schema " + resource + " is not in the program; install it again.");
      }
      return REGISTRY.getSchema(in);
    } catch (IOException e) {
      throw new CisternException(
          "The schema " + resource + " cannot be read; install the program again.", e);
    }
  }

  List<Problem> problems() {
    SchemaSentence sentence = new SchemaSentence(file, schema.getSchemaNode());
    return Choice.meant(schema.validate(file.tree())).stream()
        .map(sentence::of)
        .distinct()
        .toList();
  }
}
