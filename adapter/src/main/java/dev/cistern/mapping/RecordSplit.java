// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static dev.cistern.mapping.DecodeReason.HEADER_NOT_RECOGNISED;
import static dev.cistern.mapping.DecodeReason.RECORD_TOO_LARGE;
import static dev.cistern.mapping.DecodeReason.TRUNCATED_RECORD;
import static dev.cistern.mapping.DecodeReason.UNCLOSED_QUOTE;
import static dev.cistern.mapping.DecodeReason.WRONG_COLUMN_COUNT;

import de.siegmar.fastcsv.reader.CsvParseException;
import de.siegmar.fastcsv.reader.CsvReader;
import dev.cistern.scan.Field;
import dev.cistern.scan.Fields;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Place;
import dev.cistern.scan.RawEntry;
import dev.cistern.scan.Severity;
import java.util.ArrayList;
import java.util.Collection;
import java.util.EnumSet;
import java.util.List;
import java.util.Set;
import org.jspecify.annotations.Nullable;

/** Splits records into columns, and makes an entry of each. */
final class RecordSplit {
  /** Fields whose text can lose its end without anybody being harmed by what is left. */
  private static final Set<Field> HARMLESS =
      EnumSet.of(Field.OPERATOR_ID, Field.LOCATION, Field.NOTE, Field.DEVICE_MODEL);

  private final TableLayout layout;
  private final Collection<FieldRule> rules;
  private final Limits limits;
  private final CsvReader.CsvReaderBuilder csv;
  private Columns columns;
  private @Nullable RawEntry refused;

  RecordSplit(TableLayout layout, Collection<FieldRule> rules, Limits limits, Columns columns) {
    this.layout = layout;
    this.rules = rules;
    this.limits = limits;
    this.columns = columns;
    this.csv = CsvReader.builder().fieldSeparator(layout.delimiter()).quoteCharacter('"');
  }

  /** With the columns that a header row names. */
  static RecordSplit under(
      RawRecord header, TableLayout layout, Collection<FieldRule> rules, Limits limits) {
    RecordSplit split = new RecordSplit(layout, rules, limits, Columns.numbered(0, List.of()));
    String text = header.text();
    List<String> names = text == null ? null : split.columnsOf(text);
    if (text == null || names == null || names.size() > limits.fields()) {
      Finding fault = header.fault();
      split.refused =
          Replay.refused(
              fault != null
                  ? fault
                  : HEADER_NOT_RECOGNISED.found("The header row cannot be split into columns."));
      return split;
    }
    split.columns = Columns.named(text, names, rules);
    if (!split.columns.recognised(rules)) {
      split.refused =
          Replay.refused(
              HEADER_NOT_RECOGNISED.found(
                  "None of the "
                      + names.size()
                      + (names.size() == 1 ? " column" : " columns")
                      + " in line "
                      + header.line()
                      + " is one that the mapping reads."));
    }
    return split;
  }

  /** What stands for the whole submission where its header is of no use; else null. */
  @Nullable RawEntry refused() {
    return refused;
  }

  /** Whether a record holds nothing, or only names the columns once more. */
  boolean passesOver(RawRecord record) {
    String text = record.text();
    return text != null && (holdsNothing(text) || text.equals(columns.text()));
  }

  private boolean holdsNothing(String text) {
    for (int i = 0; i < text.length(); i++) {
      char c = text.charAt(i);
      if (c != layout.delimiter() && !Character.isWhitespace(c)) {
        return false;
      }
    }
    return true;
  }

  RawEntry entry(Place place, RawRecord record) {
    String text = record.text();
    if (text == null) {
      Finding fault = record.fault();
      return new RawEntry(place, Fields.NONE, fault == null ? List.of() : List.of(fault));
    }
    List<String> texts = columnsOf(text);
    Finding wrong = texts == null ? strayQuote(record) : wrongCount(texts.size(), record);
    if (texts == null || wrong != null) {
      return new RawEntry(place, Fields.NONE, wrong == null ? List.of() : List.of(wrong));
    }
    List<Finding> findings = new ArrayList<>(columns.findings());
    Finding cut = record.terminated() ? null : cut(texts.size(), text);
    if (cut != null) {
      findings.add(cut);
    }
    return FieldFill.entry(place, rules, new TableRow(columns, texts, record.line()), findings);
  }

  /**
   * @return null where a quotation mark stands where it cannot
   */
  private @Nullable List<String> columnsOf(String text) {
    try {
      return csv.ofSingleCsvRecord(text).getFields();
    } catch (CsvParseException e) {
      return null;
    }
  }

  private static Finding strayQuote(RawRecord record) {
    return UNCLOSED_QUOTE.found(
        "In line " + record.line() + " there is more text behind a closing quotation mark.");
  }

  private @Nullable Finding wrongCount(int found, RawRecord record) {
    if (found > limits.fields()) {
      return RECORD_TOO_LARGE.found(
          "Line " + record.line() + " has more than " + limits.fields() + " columns.");
    } else if (columns.fits(found)) {
      return null;
    }
    String expected = columns.count() > 0 ? "" + columns.count() : "at least " + columns.least();
    return WRONG_COLUMN_COUNT.found(
        "Line "
            + record.line()
            + " has "
            + found
            + (found == 1 ? " column" : " columns")
            + "; it should have "
            + expected
            + ".");
  }

  /** What a missing line end means for the last column: it may be the beginning of its value. */
  private @Nullable Finding cut(int count, String text) {
    if (layout.finalNewline() == FinalNewline.OPTIONAL) {
      return null;
    }
    Finding finding =
        TRUNCATED_RECORD.found(
            "The last line does not end with a line end: the file may have been cut, and the last"
                + " value with it.");
    boolean quoted = new Quoting(layout.delimiter()).read(text).lastQuoted();
    boolean matters = !quoted && feedsWhatMatters(count - 1);
    return layout.finalNewline() == FinalNewline.REQUIRED || matters
        ? finding
        : finding.withSeverity(Severity.WARN);
  }

  private boolean feedsWhatMatters(int column) {
    return rules.stream()
        .filter(r -> !HARMLESS.contains(r.field()))
        .flatMap(r -> Columns.sources(r).stream())
        .anyMatch(s -> Integer.valueOf(column).equals(columns.index().get(s)));
  }
}
