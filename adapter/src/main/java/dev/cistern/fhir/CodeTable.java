// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import de.siegmar.fastcsv.reader.CommentStrategy;
import de.siegmar.fastcsv.reader.CsvParseException;
import de.siegmar.fastcsv.reader.CsvReader;
import de.siegmar.fastcsv.reader.CsvRecord;
import dev.cistern.fhir.CodeRow.Evidence;
import dev.cistern.scan.CisternException;
import dev.cistern.scan.Coded;
import java.io.IOException;
import java.util.ArrayList;
import java.util.Arrays;
import java.util.HashMap;
import java.util.LinkedHashSet;
import java.util.List;
import java.util.Map;
import java.util.Optional;
import java.util.Set;

/** Reads the code table, and refuses codes that would say something else than the row means. */
final class CodeTable {
  private static final List<String> COLUMNS =
      List.of("meaning", "system", "code", "display", "evidence", "note");

  /** Codes for reports; they are in the table so that nobody puts them on a value. */
  private static final Set<String> REPORTS = Set.of("exam-bladder", "exam-bladder-post-void");

  /** LOINC numbers that a search for bladder volumes finds and that mean something else. */
  private static final Set<String> LOOK_ALIKES = Set.of("30795-9", "8334-5");

  private static final Set<String> MEANINGS = meanings();

  private static final CsvReader.CsvReaderBuilder READER =
      CsvReader.builder()
          .commentStrategy(CommentStrategy.SKIP)
          .allowExtraFields(true)
          .allowMissingFields(true);

  private final String name;
  private final List<CodeRow> rows = new ArrayList<>();
  private final List<String> problems = new ArrayList<>();
  private final Map<String, String> meaningOfCode = new HashMap<>();

  private CodeTable(String name) {
    this.name = name;
  }

  static List<CodeRow> read(String name, String csv) {
    CodeTable table = new CodeTable(name);
    table.readAll(csv);
    if (!table.problems.isEmpty()) {
      throw new CisternException(String.join("\n", table.problems));
    }
    return table.rows;
  }

  static boolean isReport(CodeRow row) {
    return REPORTS.contains(row.meaning());
  }

  private void readAll(String csv) {
    boolean header = true;
    try (CsvReader<CsvRecord> reader = READER.ofCsvRecord(csv)) {
      for (CsvRecord line : reader) {
        if (header) {
          requireHeader(line);
          header = false;
        } else {
          readRow(line);
        }
      }
    } catch (CsvParseException | IOException e) {
      problems.add(name + " is not a CSV file with commas: " + e.getMessage());
    }
  }

  private void requireHeader(CsvRecord line) {
    if (!line.getFields().equals(COLUMNS)) {
      problem(line, "the first line names the columns: " + String.join(",", COLUMNS));
    }
  }

  private void readRow(CsvRecord line) {
    if (line.getFieldCount() != COLUMNS.size()) {
      problem(line, "expected " + COLUMNS.size() + " cells, found " + line.getFieldCount());
      return;
    }
    String meaning = line.getField(0);
    String system = line.getField(1);
    String code = line.getField(2);
    Optional<Evidence> evidence = Coded.of(Evidence.class, line.getField(4));
    if (!MEANINGS.contains(meaning)) {
      problem(
          line, "\"" + meaning + "\" is not a meaning: use one of " + String.join(" ", MEANINGS));
    }
    if (evidence.isEmpty()) {
      problem(
          line,
          "\""
              + line.getField(4)
              + "\" is not a kind of evidence: use one of "
              + String.join(" ", Coded.words(Evidence.class)));
    }
    if (system.isBlank()) {
      problem(line, "the system is empty: write its URI, as http://loinc.org");
    }
    if (!code.isEmpty()) {
      checkCode(line, meaning, system, code);
    }
    rows.add(
        new CodeRow(
            meaning,
            system,
            code.isEmpty() ? null : code,
            line.getField(3).isEmpty() ? null : line.getField(3),
            evidence.orElse(Evidence.TO_BE_CONFIRMED),
            line.getField(5),
            Math.toIntExact(line.getStartingLineNumber())));
  }

  private void checkCode(CsvRecord line, String meaning, String system, String code) {
    if (!code.equals(code.strip())) {
      problem(line, "the code has a blank before or after it: remove it");
    }
    String other = meaningOfCode.putIfAbsent(system + "|" + code, meaning);
    if (other != null && !other.equals(meaning)) {
      problem(line, code + " already means " + other + ": one code cannot stand for two meanings");
    }
    if (system.equals(CodeBook.LOINC)) {
      if (LOOK_ALIKES.contains(code)) {
        problem(line, code + " looks right in a search but is no scanned bladder volume");
      } else if (!LoincNumber.hasRightCheckDigit(code)) {
        problem(line, code + " is not a LOINC number: its check digit is wrong");
      }
    } else if (system.equals(CodeBook.SNOMED) && !SnomedId.hasRightCheckDigit(code)) {
      problem(line, code + " is not a SNOMED CT identifier: its check digit is wrong");
    }
  }

  private void problem(CsvRecord line, String words) {
    problems.add(name + " line " + line.getStartingLineNumber() + ": " + words);
  }

  private static Set<String> meanings() {
    Set<String> all = new LinkedHashSet<>(Coded.words(Concept.class));
    all.add(CodeBook.BODY_SITE);
    all.add(CodeBook.METHOD);
    all.addAll(REPORTS.stream().sorted().toList());
    Arrays.stream(WordSet.values())
        .flatMap(set -> set.words().stream().map(word -> set.key() + "." + word))
        .forEach(all::add);
    return all;
  }
}
