// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import dev.cistern.scan.CisternException;
import dev.cistern.scan.Coded;
import java.io.IOException;
import java.io.InputStream;
import java.io.UncheckedIOException;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.List;
import org.hl7.fhir.r4.model.CodeableConcept;
import org.hl7.fhir.r4.model.Coding;

/**
 * Which codes are sent for what: the standard ones of the code table, and always our own beside
 * them, so that a result can be read where a cell of the table is empty.
 */
public final class CodeBook {
  /** The root of our own CodeSystems. They belong to the product, not to a site. */
  public static final String LOCAL = "urn:cistern:code";

  public static final String CONCEPTS = LOCAL + ":observation";
  public static final String LOINC = "http://loinc.org";
  public static final String SNOMED = "http://snomed.info/sct";

  /** What {@code codes.csv} calls the place and the manner of the measurement. */
  public static final String BODY_SITE = "urinary-bladder";

  public static final String METHOD = "bladder-ultrasound";

  private static final String RESOURCE = "/mappings/codes.csv";

  private final List<CodeRow> rows;

  CodeBook(List<CodeRow> rows) {
    this.rows = List.copyOf(rows);
  }

  /** The table that is shipped in the jar. */
  public static CodeBook shipped() {
    return parse("codes.csv", shippedText());
  }

  /** Its text, to start from. */
  public static String shippedText() {
    try (InputStream in = CodeBook.class.getResourceAsStream(RESOURCE)) {
      if (in == null) {
        throw new IllegalStateException(RESOURCE + " is not in the jar");
      }
      return new String(in.readAllBytes(), StandardCharsets.UTF_8);
    } catch (IOException e) {
      throw new UncheckedIOException(e);
    }
  }

  /**
   * A site's copy of the table.
   *
   * @throws CisternException with every problem of the file, each with its line
   */
  public static CodeBook read(Path file) {
    try {
      return parse(file.toString(), Files.readString(file));
    } catch (IOException e) {
      throw new CisternException(
          "the code table " + file + " cannot be read: check that it exists and is UTF-8", e);
    }
  }

  /**
   * The text of such a table.
   *
   * @param name what problems call the file
   * @throws CisternException with every problem of the text, each with its line
   */
  public static CodeBook parse(String name, String csv) {
    return new CodeBook(CodeTable.read(name, csv));
  }

  public List<CodeRow> rows() {
    return rows;
  }

  /** Rows whose code is sent although nobody confirmed it: a start-up check warns for each. */
  public List<CodeRow> unconfirmed(boolean snomed) {
    return rows.stream()
        .filter(row -> sendable(row, snomed) && !row.confirmed() && !CodeTable.isReport(row))
        .toList();
  }

  /** The standard codes for a meaning, in the order of the table; often none. */
  public List<Coding> standard(String meaning, boolean snomed) {
    List<Coding> codings = new ArrayList<>();
    for (CodeRow row : rows) {
      if (row.meaning().equals(meaning) && sendable(row, snomed)) {
        codings.add(row.coding());
      }
    }
    return codings;
  }

  CodeableConcept of(Concept concept, boolean snomed) {
    CodeableConcept result = new CodeableConcept();
    standard(concept.code(), snomed).forEach(result::addCoding);
    return result.addCoding(new Coding(CONCEPTS, concept.code(), concept.display()));
  }

  CodeableConcept of(WordSet set, Coded word, boolean snomed) {
    CodeableConcept result = new CodeableConcept();
    standard(set.meaning(word), snomed).forEach(result::addCoding);
    return result.addCoding(set.coding(word));
  }

  private static boolean sendable(CodeRow row, boolean snomed) {
    return row.filled() && (snomed || !row.system().equals(SNOMED));
  }
}
