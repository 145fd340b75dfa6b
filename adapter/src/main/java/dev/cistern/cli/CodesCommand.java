// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import dev.cistern.fhir.ConceptMaps;
import dev.cistern.fhir.Conformance;
import dev.cistern.fhir.LocalCodes;
import dev.cistern.mapping.CodeTable;
import dev.cistern.mapping.CodesText;
import dev.cistern.mapping.FieldRule;
import dev.cistern.mapping.Mapping;
import dev.cistern.scan.CisternException;
import dev.cistern.scan.Coded;
import dev.cistern.scan.Field;
import dev.cistern.scan.Purpose;
import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import org.jspecify.annotations.Nullable;
import picocli.CommandLine.Command;
import picocli.CommandLine.Option;
import picocli.CommandLine.ParameterException;

@Command(
    name = "codes",
    description = {
      "Writes a mapping's code tables as FHIR ConceptMaps, or reads such back.",
      "Reading prints the codes section of the mapping file, to be pasted over the one it has, so"
          + " that the file's comments stay a person's work. Changes no mapping."
    },
    footer = {
      "",
      "Examples:  cistern codes --mapping mappings/elm-ward-export.yaml --export codes.json",
      "           cistern codes --mapping mappings/elm-ward-export.yaml --import codes.json",
      "           cistern codes --conformance --export fhir"
    })
final class CodesCommand extends WithHelp {
  @Option(names = "--mapping", paramLabel = "FILE", description = "The mapping.")
  private @Nullable Path mapping;

  @Option(
      names = "--export",
      paramLabel = "FILE",
      description = "Where to write the ConceptMaps; standard output else.")
  private @Nullable Path export;

  @Option(
      names = "--import",
      paramLabel = "FILE",
      description = "A ConceptMap, or a Bundle of them, to read.")
  private @Nullable Path imported;

  @Option(
      names = "--conformance",
      description =
          "Writes the profile, code systems, value sets and requirements into the folder that"
              + " --export names.")
  private boolean conformance;

  @Override
  public Integer call() {
    if (conformance) {
      if (export == null || mapping != null || imported != null) {
        throw misused("--conformance takes --export FOLDER, and nothing else.");
      }
      Path folder = export;
      Conformance.files().forEach((name, json) -> write(folder.resolve(name), json));
      return Exit.DONE;
    }
    if (mapping == null) {
      throw misused("Name the mapping with --mapping FILE.");
    }
    if (imported != null && export != null) {
      throw misused("Give --export or --import, not both.");
    }
    Mapping read = Mapping.read(mapping);
    if (imported != null) {
      take(read, imported);
    } else if (export != null) {
      write(export, ConceptMaps.write(tables(read)) + "\n");
    } else {
      out().println(ConceptMaps.write(tables(read)));
    }
    return Exit.DONE;
  }

  private void take(Mapping read, Path file) {
    List<LocalCodes> known = tables(read);
    Map<String, CodeTable> tables = new LinkedHashMap<>(read.codes());
    for (LocalCodes given : ConceptMaps.read(file.toString(), text(file), known)) {
      boolean same =
          known.stream()
              .anyMatch(
                  one -> one.table().equals(given.table()) && one.words().equals(given.words()));
      if (!same) {
        check(read, given);
        tables.put(given.table(), new CodeTable(given.table(), given.words()));
        err().println("The table " + given.table() + " differs from the mapping's.");
      }
    }
    out().print(CodesText.section(List.copyOf(tables.values())));
    out().flush();
  }

  /** What the mapping file would be refused for, said before anyone pastes it. */
  private static void check(Mapping mapping, LocalCodes given) {
    for (FieldRule rule : mapping.fields().values()) {
      if (rule.codes() == null || !rule.codes().name().equals(given.table())) {
        continue;
      }
      Field field = rule.field();
      List<String> words = Coded.wordsOf(field);
      given
          .words()
          .forEach(
              (code, word) -> {
                if (!word.isEmpty() && !words.isEmpty() && !words.contains(word)) {
                  throw new CisternException(
                      "\"%s\", for the code \"%s\" of the table %s, is not a word of %s (%s)."
                          .formatted(
                              word, code, given.table(), field.key(), String.join(", ", words)));
                }
                if (code.isEmpty()
                    && field == Field.PURPOSE
                    && word.equals(Purpose.POST_VOID.code())) {
                  throw new CisternException(
                      "The table "
                          + given.table()
                          + " makes a blank "
                          + word
                          + ", but a blank asserts nothing; map it to "
                          + Purpose.UNSPECIFIED.code()
                          + ".");
                }
              });
    }
  }

  /** The mapping's own tables, then the ready ones that it uses. */
  private static List<LocalCodes> tables(Mapping mapping) {
    Map<String, CodeTable> all = new LinkedHashMap<>(mapping.codes());
    Map<String, Field> users = new LinkedHashMap<>();
    for (FieldRule rule : mapping.fields().values()) {
      CodeTable table = rule.codes();
      if (table != null) {
        all.putIfAbsent(table.name(), table);
        users.putIfAbsent(table.name(), rule.field());
      }
    }
    List<LocalCodes> tables = new ArrayList<>();
    all.forEach(
        (name, table) ->
            tables.add(new LocalCodes(mapping.name(), name, users.get(name), table.words())));
    return tables;
  }

  private static String text(Path file) {
    try {
      return Files.readString(file);
    } catch (IOException e) {
      throw new CisternException(
          "Cannot read " + file + ": check that it exists, may be read and is UTF-8.", e);
    }
  }

  private void write(Path file, String text) {
    try {
      if (file.getParent() != null) {
        Files.createDirectories(file.getParent());
      }
      Files.writeString(file, text);
      err().println("Wrote " + file + ".");
    } catch (IOException e) {
      throw new CisternException(
          "Cannot write " + file + ": check that its folder exists and may be written to.", e);
    }
  }

  private ParameterException misused(String words) {
    return new ParameterException(spec().commandLine(), words);
  }
}
