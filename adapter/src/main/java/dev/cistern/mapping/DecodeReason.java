// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import dev.cistern.scan.Finding;
import dev.cistern.scan.Reason;
import dev.cistern.scan.Severity;

/** Everything that can go wrong between bytes and fields. */
public enum DecodeReason implements Reason {
  EMPTY_SUBMISSION(
      "empty-submission",
      "The submission holds no bytes, or nothing but blanks.",
      "Ask the sender for the file again; an empty one usually means that the export failed."),
  NO_ENTRIES(
      "no-entries",
      "The submission is readable but holds no result.",
      "If the sender may send nothing, set allowEmpty in the mapping; else ask for the results."),
  BINARY_CONTENT(
      "binary-content",
      "The submission holds bytes that no text has.",
      "Check that the sender exports text, not a compressed or office file, and that the mapping's"
          + " charset is the sender's."),
  UNDECODABLE_BYTES(
      "undecodable-bytes",
      "Some bytes are no text in the charset that applies.",
      "Set the sender's charset in the mapping, then replay."),
  HEADER_NOT_RECOGNISED(
      "header-not-recognised",
      "The header row names none of the columns that the mapping reads.",
      "Check that the file is from this source, and the mapping's delimiter, skip and column names;"
          + " then replay."),
  MISSING_COLUMN(
      "missing-column",
      "The header row lacks a column that the mapping reads.",
      "Correct the column's name in the mapping, or mark the field optional; then replay."),
  DUPLICATE_COLUMN(
      "duplicate-column",
      "Two columns carry a name that the mapping reads.",
      "Have the sender name its columns apart, or map by column number with header: false."),
  WRONG_COLUMN_COUNT(
      "wrong-column-count",
      "The line has more or fewer columns than the header row.",
      "Compare the line with its neighbours: a cut line, a delimiter inside an unquoted text, or"
          + " another export version. Amend, or ask for the file again."),
  UNCLOSED_QUOTE(
      "unclosed-quote",
      "A quotation mark is opened and not closed, or is followed by more text.",
      "Correct the line at the sender, or set multiline in the mapping if texts may span lines."),
  TRUNCATED_RECORD(
      "truncated-record",
      "The last line has no line end, so that its last value may be cut.",
      "Compare the last value with the scanner. If this sender never ends its last line, set"
          + " finalNewline: optional in the mapping."),
  TRUNCATED_DOCUMENT(
      "truncated-document",
      "The submission ends before it is complete.",
      "Ask the sender for the whole file again."),
  RECORD_TOO_LARGE(
      "record-too-large",
      "One record is larger than any result can be.",
      "Look at the raw bytes: line ends may be missing, or this is not a result file."),
  DOCUMENT_TOO_LARGE(
      "document-too-large",
      "The document is larger than is read in one piece.",
      "Have the sender split its export, or send one result at a time."),
  NESTED_TOO_DEEP(
      "nested-too-deep",
      "The document nests deeper than any result does.",
      "Check that the file is from this source; such a file may be an attack."),
  XML_DOCUMENT_TYPE(
      "xml-document-type",
      "The XML document declares a document type, which can make a parser read other files.",
      "Have the sender leave the document type out; it is never accepted.",
      true,
      "OWASP, XML External Entity Prevention"),
  MALFORMED_JSON(
      "malformed-json",
      "The text is not JSON as RFC 8259 defines it.",
      "Correct it at the sender and have it sent again.",
      false,
      "RFC 8259"),
  MALFORMED_XML(
      "malformed-xml",
      "The text is not well-formed XML.",
      "Correct it at the sender and have it sent again.",
      false,
      "XML 1.0, section 2.1"),
  MALFORMED_HL7(
      "malformed-hl7",
      "The text is not an HL7 v2 message.",
      "Correct it at the sender and have it sent again.",
      false,
      "HL7 v2.5.1, chapter 2, section 2.5"),
  MALFORMED_FORM(
      "malformed-form",
      "The form post cannot be read.",
      "Send the form again; if it fails again, check the page or program that posts it."),
  AMBIGUOUS_SOURCE(
      "ambiguous-source",
      "A source holds several values where one is wanted.",
      "Make the mapping's path say which of them is meant."),
  STRUCTURED_VALUE(
      "structured-value",
      "The value is a range, a ratio or a structure, not one value.",
      "Amend the value if one number is meant; else discard the entry.",
      false,
      "HL7 v2.5.1, chapter 2A, data type SN"),
  NUMERIC_UNIT_CODE(
      "numeric-unit-code",
      Severity.NOTE,
      "The unit's code is a number although UCUM is named as its coding system; the unit's text was"
          + " taken.",
      "Nothing to do; tell the sender.",
      false,
      "IHE Devices, PCD-01, OBX-6"),
  CODE_UNMAPPED(
      "code-unmapped",
      "A code table lacks a code that the sender used.",
      "Find out what the code means, add it to the table in the mapping, then replay.",
      true,
      "nothing falls through to a guess"),
  ENTRY_NOT_FOUND(
      "entry-not-found",
      "Under today's mapping the submission no longer holds exactly this entry.",
      "Take the whole submission in again, or undo the change of the mapping.");

  private static final String COMMON = "common practice, no source";

  private final String code;
  private final Severity severity;
  private final String words;
  private final String next;
  private final boolean fixed;
  private final String source;

  DecodeReason(String code, String words, String next) {
    this(code, words, next, false, COMMON);
  }

  DecodeReason(String code, String words, String next, boolean fixed, String source) {
    this(code, Severity.REJECT, words, next, fixed, source);
  }

  DecodeReason(
      String code, Severity severity, String words, String next, boolean fixed, String source) {
    this.code = code;
    this.severity = severity;
    this.words = words;
    this.next = next;
    this.fixed = fixed;
    this.source = source;
  }

  @Override
  public String code() {
    return code;
  }

  @Override
  public Severity severity() {
    return severity;
  }

  @Override
  public boolean fixed() {
    return fixed;
  }

  @Override
  public String words() {
    return words;
  }

  @Override
  public String next() {
    return next;
  }

  @Override
  public String source() {
    return source;
  }

  /** A finding about the whole entry. */
  Finding found(String message) {
    return found(null, message);
  }
}
