// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.yaml;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.scan.CisternException;
import java.io.IOException;
import java.nio.ByteBuffer;
import java.nio.charset.CharacterCodingException;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.NoSuchFileException;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.Comparator;
import java.util.List;
import java.util.Map;
import java.util.Optional;
import org.jspecify.annotations.Nullable;
import org.yaml.snakeyaml.DumperOptions;
import org.yaml.snakeyaml.LoaderOptions;
import org.yaml.snakeyaml.Yaml;
import org.yaml.snakeyaml.constructor.SafeConstructor;
import org.yaml.snakeyaml.error.Mark;
import org.yaml.snakeyaml.error.MarkedYAMLException;
import org.yaml.snakeyaml.error.YAMLException;
import org.yaml.snakeyaml.nodes.Node;
import org.yaml.snakeyaml.reader.ReaderException;
import org.yaml.snakeyaml.representer.Representer;

/**
 * One YAML document as a JSON tree that knows where each value stood and how it was written.
 *
 * <p>Scalars follow YAML 1.2: only {@code true} and {@code false} are booleans, and keys are always
 * text. Tags other than the built-in ones, repeated keys, a second document and files above 4 MiB
 * are refused.
 */
public final class YamlFile {
  private static final int LARGEST = 4 << 20;

  private final String name;
  private final JsonNode tree;
  private final Map<String, Mark> keys;
  private final Map<String, Mark> values;
  private final Map<String, String> texts;

  private YamlFile(String name, JsonNode tree, YamlTree planted) {
    this.name = name;
    this.tree = tree;
    this.keys = planted.keys();
    this.values = planted.values();
    this.texts = planted.texts();
  }

  /**
   * Reads a file in UTF-8.
   *
   * @throws YamlProblems where its text cannot be understood
   * @throws CisternException where it cannot be read at all
   */
  public static YamlFile read(Path file) {
    return parse(file.toString(), bytes(file));
  }

  /**
   * Reads what a file in UTF-8 holds.
   *
   * @throws YamlProblems where it cannot be understood
   */
  public static YamlFile parse(String name, byte[] content) {
    try {
      return parse(
          name, StandardCharsets.UTF_8.newDecoder().decode(ByteBuffer.wrap(content)).toString());
    } catch (CharacterCodingException e) {
      throw problem(name, null, "the file is not UTF-8; save it in that encoding");
    }
  }

  /**
   * Reads a text.
   *
   * @param name what problems call the file
   * @throws YamlProblems where it cannot be understood
   */
  public static YamlFile parse(String name, String text) {
    YamlTree planted = new YamlTree(name);
    JsonNode tree =
        planted.plant(compose(name, text.startsWith("\uFEFF") ? text.substring(1) : text));
    if (!planted.problems().isEmpty()) {
      throw new YamlProblems(planted.problems());
    }
    return new YamlFile(name, tree, planted);
  }

  private static byte[] bytes(Path file) {
    try {
      if (Files.size(file) > LARGEST) {
        throw problem(file.toString(), null, "the file is larger than 4 MiB");
      }
      return Files.readAllBytes(file);
    } catch (NoSuchFileException e) {
      throw new CisternException("Cannot read " + file + ": there is no such file.", e);
    } catch (IOException e) {
      throw new CisternException(
          "Cannot read "
              + file
              + " ("
              + e.getClass().getSimpleName()
              + "): check that it is a file and that its permissions allow it.",
          e);
    }
  }

  private static Node compose(String name, String text) {
    LoaderOptions options = new LoaderOptions();
    options.setCodePointLimit(LARGEST);
    options.setMaxAliasesForCollections(50);
    options.setAllowRecursiveKeys(false);
    options.setNestingDepthLimit(50);
    DumperOptions dumper = new DumperOptions();
    Yaml yaml =
        new Yaml(
            new SafeConstructor(options),
            new Representer(dumper),
            dumper,
            options,
            new PlainScalars());
    try {
      @Nullable Node root = yaml.compose(new java.io.StringReader(text));
      if (root == null) {
        throw problem(name, null, "the file is empty");
      }
      return root;
    } catch (MarkedYAMLException e) {
      throw problem(name, e.getProblemMark(), sentence(e));
    } catch (ReaderException e) {
      throw problem(
          name,
          null,
          "the file holds a character that YAML does not allow (code point "
              + e.getCodePoint()
              + ")");
    } catch (YAMLException e) {
      throw problem(name, null, "not a YAML file: " + e.getMessage());
    }
  }

  private static String sentence(MarkedYAMLException e) {
    String context = e.getContext() == null ? "" : e.getContext() + ": ";
    return context + e.getProblem();
  }

  private static YamlProblems problem(String name, @Nullable Mark mark, String message) {
    int line = mark == null ? 1 : mark.getLine() + 1;
    int column = mark == null ? 1 : mark.getColumn() + 1;
    return new YamlProblems(List.of(new Problem(name, line, column, message)));
  }

  /** The pointer of a member, its name escaped as RFC 6901 asks. */
  public static String child(String pointer, String member) {
    return pointer + "/" + member.replace("~", "~0").replace("/", "~1");
  }

  public String name() {
    return name;
  }

  public JsonNode tree() {
    return tree;
  }

  /**
   * A scalar exactly as it was written, before anything made a number or a boolean of it; empty
   * where the pointer leads to no scalar.
   */
  public Optional<String> text(String pointer) {
    return Optional.ofNullable(texts.get(pointer));
  }

  /** A problem with the value at a JSON pointer, or with the nearest thing around it. */
  public Problem at(String pointer, String message) {
    Mark mark = texts.containsKey(pointer) ? values.get(pointer) : keys.get(pointer);
    return mark == null ? around(pointer, message) : located(mark, message);
  }

  /** A problem with the key at a JSON pointer. */
  public Problem atKey(String pointer, String message) {
    Mark mark = keys.get(pointer);
    return mark == null ? around(pointer, message) : located(mark, message);
  }

  private Problem around(String pointer, String message) {
    Mark mark = values.get(pointer);
    if (mark != null) {
      return located(mark, message);
    }
    int slash = pointer.lastIndexOf('/');
    return slash < 0 ? new Problem(name, 1, 1, message) : at(pointer.substring(0, slash), message);
  }

  private Problem located(Mark mark, String message) {
    return new Problem(name, mark.getLine() + 1, mark.getColumn() + 1, message);
  }

  /**
   * Everything in which this file breaks a schema, from top to bottom.
   *
   * @param schemaResource the schema's name on the class path, such as {@code
   *     schema/mapping.schema.json}
   */
  public List<Problem> check(String schemaResource) {
    List<Problem> problems = new ArrayList<>(new SchemaCheck(this, schemaResource).problems());
    problems.sort(Comparator.comparingInt(Problem::line).thenComparingInt(Problem::column));
    return problems;
  }

  /**
   * Insists that this file keeps a schema.
   *
   * @throws YamlProblems where {@link #check} finds anything
   */
  public void require(String schemaResource) {
    List<Problem> problems = check(schemaResource);
    if (!problems.isEmpty()) {
      throw new YamlProblems(problems);
    }
  }
}
