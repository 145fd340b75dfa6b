// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import dev.cistern.scan.Coded;
import dev.cistern.yaml.Suggestion;
import dev.cistern.yaml.YamlFile;
import java.nio.charset.Charset;
import java.nio.charset.IllegalCharsetNameException;
import java.nio.charset.UnsupportedCharsetException;
import java.time.DateTimeException;
import java.time.ZoneId;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import org.jspecify.annotations.Nullable;

/** Reads {@code input}, and looks for what a schema cannot see. */
final class InputPart {
  private final Part part;

  InputPart(Part part) {
    this.part = part;
  }

  Input read() {
    Format format = Coded.of(Format.class, part.text("/input/format", "")).orElse(Format.DELIMITED);
    Charset charset = charset(format);
    TableLayout table =
        new TableLayout(
            delimiter(),
            part.isTrue("/input/header", true),
            part.tree("/input/skip").asInt(0),
            part.tree("/input/columns").asInt(0),
            part.isTrue("/input/multiline", false),
            Coded.of(FinalNewline.class, part.text("/input/finalNewline", "auto"))
                .orElse(FinalNewline.AUTO));
    Selection selection =
        new Selection(
            format == Format.HL7V2 ? null : part.text("/input/records"),
            part.isTrue("/input/lines", false),
            texts("/input/namespaces"),
            part.text("/input/records/segment", "OBX"),
            where());
    Input input =
        new Input(format, charset, part.isTrue("/input/allowEmpty", false), table, selection);
    checkRecords(input);
    return input;
  }

  char decimal() {
    return part.text("/input/decimal", ".").equals(",") ? ',' : '.';
  }

  @Nullable ZoneId zone(String pointer) {
    String name = part.text(pointer);
    if (name == null) {
      return null;
    }
    try {
      return ZoneId.of(name);
    } catch (DateTimeException e) {
      part.problem(
          pointer,
          "there is no zone \""
              + name
              + "\""
              + Suggestion.didYouMean(name, ZoneId.getAvailableZoneIds()));
      return null;
    }
  }

  private @Nullable Charset charset(Format format) {
    String name = part.text("/input/charset");
    if (name == null) {
      return null;
    }
    try {
      Charset charset = Charset.forName(name);
      boolean inLines =
          format == Format.DELIMITED
              || format == Format.HL7V2
              || part.isTrue("/input/lines", false);
      if (inLines && !Encoding.canBeCut(charset)) {
        part.problem("/input/charset", "text in \"" + name + "\" cannot be cut into lines");
      }
      return charset;
    } catch (IllegalCharsetNameException | UnsupportedCharsetException e) {
      part.problem(
          "/input/charset",
          "there is no charset \""
              + name
              + "\""
              + Suggestion.didYouMean(name, Charset.availableCharsets().keySet()));
      return null;
    }
  }

  private char delimiter() {
    String text = part.text("/input/delimiter", ",");
    if (text.equals("tab") || text.equals("\t")) {
      return '\t';
    }
    boolean usable =
        text.length() == 1
            && "\"\r\n".indexOf(text.charAt(0)) < 0
            && !Character.isLetterOrDigit(text.charAt(0))
            && !Character.isSurrogate(text.charAt(0));
    if (!usable) {
      part.problem(
          "/input/delimiter", "the delimiter must be one character such as \";\", or the word tab");
      return ',';
    }
    return text.charAt(0);
  }

  private Map<String, String> texts(String pointer) {
    Map<String, String> texts = new LinkedHashMap<>();
    for (String key : part.keys(pointer)) {
      texts.put(key, part.text(YamlFile.child(pointer, key), ""));
    }
    return texts;
  }

  private Map<String, List<String>> where() {
    Map<String, List<String>> where = new LinkedHashMap<>();
    for (String key : part.keys("/input/records/where")) {
      String pointer = YamlFile.child("/input/records/where", key);
      where.put(key, part.pointers(pointer).stream().map(p -> part.text(p, "").strip()).toList());
    }
    return where;
  }

  private void checkRecords(Input input) {
    Selection selection = input.selection();
    String problem = null;
    if (input.format() == Format.JSON && selection.path() != null) {
      problem =
          selection.lines()
              ? "with lines: true each line is a record, so leave records out"
              : JsonSources.recordsProblem(selection.path());
    } else if (input.format() == Format.XML && selection.path() != null) {
      problem = new XmlSources(selection.namespaces()).problem(selection.path());
    }
    if (problem != null) {
      part.problem("/input/records", problem);
    }
    if (input.format() == Format.HL7V2) {
      selection.where().keySet().forEach(path -> checkWhere(path, selection.segment()));
    }
  }

  private void checkWhere(String path, String segment) {
    String pointer = YamlFile.child("/input/records/where", path);
    try {
      Hl7Path parsed = Hl7Path.parse(path);
      if (!parsed.segment().equals(segment) || parsed.of() != null) {
        part.keyProblem(pointer, "\"" + path + "\" must be a field of " + segment + " itself");
      }
    } catch (IllegalArgumentException e) {
      part.keyProblem(pointer, String.valueOf(e.getMessage()));
    }
  }
}
