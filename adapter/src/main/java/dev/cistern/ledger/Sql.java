// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.io.IOException;
import java.io.InputStream;
import java.io.UncheckedIOException;
import java.nio.charset.StandardCharsets;
import java.util.Map;
import java.util.Optional;
import java.util.concurrent.ConcurrentHashMap;
import java.util.function.Function;
import org.jdbi.v3.core.config.ConfigRegistry;
import org.jdbi.v3.core.statement.StatementContext;
import org.jdbi.v3.core.statement.TemplateEngine;

/**
 * The statements, each in a file of its own under {@code sql/ledger}. Where an engine needs other
 * words, a file of the same name in the engine's folder below takes its place.
 */
final class Sql {
  private static final String MARK = "statement ";

  private Sql() {}

  /** The statement of this name, in the words of whatever engine runs it. */
  static String of(String name) {
    return MARK + name;
  }

  /** Finds the words of named statements; what is no name stays as it is. */
  static final class Texts implements TemplateEngine {
    private final Map<String, String> loaded = new ConcurrentHashMap<>();
    private final String engine;

    /**
     * @param engine the name of its folder
     */
    Texts(String engine) {
      this.engine = engine;
    }

    @Override
    public String render(String template, StatementContext context) {
      return text(template);
    }

    @Override
    public Optional<Function<StatementContext, String>> parse(
        String template, ConfigRegistry config) {
      String text = text(template);
      return Optional.of(context -> text);
    }

    String text(String template) {
      return template.startsWith(MARK)
          ? loaded.computeIfAbsent(template.substring(MARK.length()), this::load)
          : template;
    }

    private String load(String name) {
      return read("/sql/ledger/" + engine + "/" + name + ".sql")
          .or(() -> read("/sql/ledger/" + name + ".sql"))
          .orElseThrow(() -> new IllegalStateException("the jar lacks the statement " + name));
    }

    private static Optional<String> read(String path) {
      try (InputStream in = Sql.class.getResourceAsStream(path)) {
        return in == null
            ? Optional.empty()
            : Optional.of(new String(in.readAllBytes(), StandardCharsets.UTF_8));
      } catch (IOException e) {
        throw new UncheckedIOException("the statement " + path + " could not be read", e);
      }
    }
  }
}
