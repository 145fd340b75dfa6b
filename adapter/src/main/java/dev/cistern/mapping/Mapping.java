// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import dev.cistern.scan.CisternException;
import dev.cistern.scan.Field;
import dev.cistern.scan.Place;
import dev.cistern.scan.RawEntry;
import dev.cistern.scan.Sha256;
import dev.cistern.yaml.Problem;
import dev.cistern.yaml.YamlFile;
import dev.cistern.yaml.YamlProblems;
import java.io.IOException;
import java.io.InputStream;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.NoSuchFileException;
import java.nio.file.Path;
import java.time.ZoneId;
import java.util.Collections;
import java.util.Comparator;
import java.util.List;
import java.util.Map;
import org.jspecify.annotations.Nullable;

/**
 * A mapping file, loaded and valid: how a source's bytes become canonical fields. Immutable, and
 * safe for use by several threads.
 */
public final class Mapping {
  /** The published JSON Schema of mapping files, on the class path. */
  public static final String SCHEMA = "schema/mapping.schema.json";

  private final String name;
  private final String title;
  private final String version;
  private final Input input;
  private final @Nullable ZoneId zone;
  private final Map<Field, FieldRule> fields;
  private final Map<String, CodeTable> codes;
  private final Decoder decoder;

  private Mapping(
      Part part,
      String version,
      Input input,
      @Nullable ZoneId zone,
      Map<Field, FieldRule> fields,
      Map<String, CodeTable> codes) {
    this.name = part.text("/mapping", "");
    this.title = part.text("/title", name);
    this.version = version;
    this.input = input;
    this.zone = zone;
    this.fields = Collections.unmodifiableMap(fields);
    this.codes = Collections.unmodifiableMap(codes);
    this.decoder = decoder(input, fields);
  }

  /**
   * Reads a mapping file.
   *
   * @throws YamlProblems listing everything that is wrong with it, from top to bottom
   * @throws CisternException where it cannot be read at all
   */
  public static Mapping read(Path file) {
    try {
      return parse(file.toString(), Files.readAllBytes(file));
    } catch (NoSuchFileException e) {
      throw new CisternException("Cannot read the mapping " + file + ": there is no such file.", e);
    } catch (IOException e) {
      throw new CisternException(
          "Cannot read the mapping " + file + ": check that it is a file and may be read.", e);
    }
  }

  /**
   * Reads what a mapping file holds.
   *
   * @throws YamlProblems listing everything that is wrong with it, from top to bottom
   */
  public static Mapping parse(String fileName, String yaml) {
    return parse(fileName, yaml.getBytes(StandardCharsets.UTF_8));
  }

  private static Mapping parse(String fileName, byte[] content) {
    YamlFile file = YamlFile.parse(fileName, content);
    Part part = new Part(file, file.check(SCHEMA));
    InputPart inputPart = new InputPart(part);
    Input input = inputPart.read();
    ZoneId zone = inputPart.zone("/input/zone");
    CodesPart codes = new CodesPart(part);
    Map<Field, FieldRule> fields = new FieldsPart(part, input, inputPart, codes, zone).read();
    List<Problem> problems =
        part.problems().stream()
            .distinct()
            .sorted(Comparator.comparingInt(Problem::line).thenComparingInt(Problem::column))
            .toList();
    if (!problems.isEmpty()) {
      throw new YamlProblems(problems);
    }
    return new Mapping(part, Sha256.hex(content, 6), input, zone, fields, codes.tables());
  }

  private static Decoder decoder(Input input, Map<Field, FieldRule> fields) {
    List<FieldRule> rules = List.copyOf(fields.values());
    return switch (input.format()) {
      case DELIMITED -> new Delimited(input, rules);
      case JSON ->
          input.selection().lines() ? new JsonLines(input, rules) : new JsonDocuments(input, rules);
      case XML -> new XmlDocuments(input, rules);
      case HL7V2 -> new Hl7Messages(input, rules);
      case FORM -> new FormPosts(input, rules);
    };
  }

  public String name() {
    return name;
  }

  public String title() {
    return title;
  }

  /** The first 12 hexadecimal digits of the SHA-256 of the file: it changes with every change. */
  public String version() {
    return version;
  }

  public Format format() {
    return input.format();
  }

  /** The zone of times that carry no offset; null where the mapping names none. */
  public @Nullable ZoneId zone() {
    return zone;
  }

  /** The fields that the mapping can fill, and how. */
  public Map<Field, FieldRule> fields() {
    return fields;
  }

  /** The file's own code tables, by name. */
  public Map<String, CodeTable> codes() {
    return codes;
  }

  /** As {@link #open(InputStream, String, Limits)}, where nobody says what the content is. */
  public EntryReader open(InputStream bytes, Limits limits) throws IOException {
    return open(bytes, null, limits);
  }

  /**
   * Decodes a submission, entry by entry.
   *
   * <p>An entry whose place has no bytes stands for the whole submission, of which nothing could be
   * decoded: to replay it, decode the submission again rather than that one entry.
   *
   * @param contentType the content type of a form post; null where it is not known
   * @throws IOException where the stream itself fails; bad input is an entry with findings
   */
  public EntryReader open(InputStream bytes, @Nullable String contentType, Limits limits)
      throws IOException {
    return decoder.open(bytes, contentType, limits);
  }

  /**
   * As {@link #readAt(ByteSource, String, Place, Limits)}, where nobody says what the content is.
   */
  public RawEntry readAt(ByteSource bytes, Place place, Limits limits) throws IOException {
    return readAt(bytes, null, place, limits);
  }

  /**
   * Decodes one entry again, perhaps under another version of the mapping than the one that placed
   * it. The entry is known by its bytes, so that it never becomes another one; where those bytes
   * are no longer exactly one entry, the finding {@link DecodeReason#ENTRY_NOT_FOUND} says so.
   *
   * @throws IOException where the bytes cannot be read
   */
  public RawEntry readAt(ByteSource bytes, @Nullable String contentType, Place place, Limits limits)
      throws IOException {
    return decoder.readAt(bytes, contentType, place, limits);
  }

  @Override
  public String toString() {
    return "Mapping[" + name + " " + version + "]";
  }
}
