// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.normalise;

import static dev.cistern.scan.Severity.REJECT;
import static dev.cistern.scan.Severity.WARN;

import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Reason;
import dev.cistern.scan.Severity;
import java.util.EnumSet;
import java.util.Set;
import org.jspecify.annotations.Nullable;

/**
 * Why a field could not be understood. A field that was refused is null in the scan.
 *
 * <p>A reason rejects where the field decides what the result is or whose it is; elsewhere the
 * result can travel without the field, with a warning. The severities are fixed: nothing can stand
 * in for a value that was not understood.
 */
public enum NormaliseReason implements Reason {
  NUMBER_UNREADABLE(
      "number-unreadable",
      "The text is not a number.",
      "Look at the original and amend the value; if the device writes a word where it has no"
          + " value, map that word to absentReason.",
      "common practice, no source"),
  NUMBER_AMBIGUOUS(
      "number-ambiguous",
      "The number has a separator before exactly three digits: it may separate thousands or"
          + " decimals.",
      "Look at the original and amend the value without a thousands separator; if every number of"
          + " this source is written so, correct the decimal separator in its mapping.",
      "common practice, no source"),
  DECIMAL_AGAINST_MAPPING(
      "decimal-against-mapping",
      "The number uses the decimal separator that its mapping does not name.",
      "Amend the value, or set the mapping's decimal separator to what the source writes.",
      "common practice, no source"),
  NUMBER_GROUPED(
      "number-grouped",
      "The number has blanks or apostrophes between its digits.",
      "Amend the value without them; they may part thousands, or two numbers.",
      "common practice, no source"),
  NUMBER_NOT_FINITE(
      "number-not-finite",
      "The text stands for a failed calculation (NaN, Inf), not for a number.",
      "Ask who looks after the device; if there was no measurement, amend absentReason.",
      "common practice, no source"),
  NUMBER_WITH_EXPONENT(
      "number-with-exponent",
      "The number is written with an exponent, which no scanner display shows.",
      "Look at the original and amend the value; a spreadsheet may have rewritten the file.",
      "common practice, no source"),
  NUMBER_SIGNED(
      "number-signed",
      "The number has a plus sign, which may mean \"or more\".",
      "Amend the value without a sign, or with > in front where it means \"more than\".",
      "common practice, no source"),
  NUMBER_NEGATIVE(
      "number-negative",
      "The number has a minus sign: nothing measured here lies below zero.",
      "Look at the original and amend the value; a range such as 100-200 is not a value.",
      "common practice, no source"),
  NUMBER_NOT_ASCII(
      "number-not-ascii",
      "The number holds a character that looks like a digit, a blank or a sign and is another.",
      "Amend the value with ordinary digits; the source's character set may be wrong in its"
          + " mapping.",
      "common practice, no source"),
  NUMBER_TOO_LONG(
      "number-too-long",
      "The number has more digits than any measurement.",
      "Look at the original: two columns may have run together, or an identifier stands here.",
      "common practice, no source"),
  COUNT_UNREADABLE(
      "count-unreadable",
      "The text is not a whole number from 0.",
      "Look at the original and amend the value.",
      "common practice, no source"),
  COMPARATOR_NOT_ALLOWED(
      "comparator-not-allowed",
      "The value carries a sign such as > where only a plain number makes sense.",
      "Amend the value; only volumes may be \"more than\" or \"less than\".",
      "FHIR R4, Quantity.comparator: < <= >= > only"),
  UNIT_MISSING(
      "unit-missing",
      "The value has no unit.",
      "Amend the value with its unit, such as 142 mL; if the source never sends one, set the unit"
          + " in its mapping.",
      "UCUM: a blank is not a unit"),
  UNIT_UNKNOWN(
      "unit-unknown",
      "The unit is not one that is understood.",
      "Amend the value with a UCUM unit; if the source always writes it so, add an alias to its"
          + " mapping.",
      "UCUM, units of volume; a closed list"),
  UNIT_MEGALITRE(
      "unit-megalitre",
      "In UCUM, ML and Ml are megalitres: a thousand million millilitres.",
      "If the source means millilitres, add the alias ML: mL to its mapping, or amend the value.",
      "UCUM: M is the prefix mega, m is milli"),
  UNIT_BARE_OUNCE(
      "unit-bare-ounce",
      "An ounce may be of mass or of fluid, US or imperial; they differ by four in a hundred.",
      "Find out which is meant, and add an alias to [foz_us] or [foz_br], or amend the value.",
      "UCUM: [foz_us] and [foz_br] are two units, oz is none"),
  UNIT_NOT_CUBIC_CENTIMETRE(
      "unit-not-cubic-centimetre",
      "In UCUM, cu.cm is not a cubic centimetre: it is an atomic mass times a length.",
      "Write cm3 or mL; if the source always writes it so, add an alias to its mapping.",
      "UCUM: u is the unified atomic mass unit, c is the prefix centi"),
  UNIT_ANNOTATION(
      "unit-annotation",
      "In UCUM, a word in braces is a comment and stands for no unit.",
      "Amend the value with a unit; if the source always writes it so, add an alias to its mapping.",
      "UCUM, annotations: a term that is only an annotation is 1"),
  UNIT_IS_NUMBER(
      "unit-is-number",
      "A number stands where the unit belongs.",
      "Look at the original: take the unit from where it stands, such as the second component of"
          + " OBX-6.",
      "HL7 v2, OBX-6 as printed in the standard's own example with a numeric device code first"),
  UNIT_OF_OTHER_KIND(
      "unit-of-other-kind",
      "The unit measures something else than this field.",
      "Look at the original: the mapping may take the unit from another column.",
      "UCUM, dimensions"),
  UNITS_DIFFER(
      "units-differ",
      "The value carries one unit and the unit field another.",
      "Look at the original and amend the value with the unit that is right.",
      "common practice, no source"),
  TIME_UNREADABLE(
      "time-unreadable",
      "The text is not a date and time in the form its mapping names.",
      "Look at the original; amend the value, or correct the pattern in the mapping.",
      "ISO 8601; HL7 v2 data type DTM"),
  TIME_INCOMPLETE(
      "time-incomplete",
      "The time of day is missing, to the minute.",
      "Amend the value with the time; minutes decide how a residual is read.",
      "HL7 v2 data type DTM allows it; a residual needs minutes (Gehrich et al., Obstet Gynecol"
          + " 2007;110(4))"),
  TIME_DOES_NOT_EXIST(
      "time-does-not-exist",
      "The clocks skip this time when summer time begins.",
      "Find out when the scan was done, amend the time with its offset from UTC, and have the"
          + " device's clock set.",
      "IANA time zone database"),
  TIME_OCCURS_TWICE(
      "time-occurs-twice",
      "The clocks show this time twice when summer time ends.",
      "Find out which of the two it was, and amend the time with its offset from UTC.",
      "IANA time zone database"),
  ZONE_MISSING(
      "zone-missing",
      "The time has no offset from UTC, and the mapping names no zone.",
      "Set the zone of this source in its mapping, then replay.",
      "HL7 v2-to-FHIR: a time without an offset needs a configured zone"),
  DATE_UNREADABLE(
      "date-unreadable",
      "The text is not a date in the form its mapping names.",
      "Look at the original; amend the value, or correct the pattern in the mapping.",
      "ISO 8601; HL7 v2 data type DTM"),
  DATE_INCOMPLETE(
      "date-incomplete",
      "The date has no month or no day.",
      "Nothing, where only the year is known; the result travels without it.",
      "HL7 v2 data type DTM allows it"),
  CODE_UNMAPPED(
      "code-unmapped",
      "The word is none of the canonical words of this field, and no table translates it.",
      "Add the word to the field's code table in the mapping, then replay.",
      "nothing falls through to a guess"),
  TEXT_UNPRINTABLE(
      "text-unprintable",
      "The text holds a character that cannot be seen.",
      "Look at the original and amend the value; the source's character set may be wrong in its"
          + " mapping.",
      "common practice, no source"),
  VALUE_AND_ABSENT_REASON(
      "value-and-absent-reason",
      "There is a volume and also a reason why there is none.",
      "Find out which is right, and amend the other away.",
      "FHIR R4, Observation invariant obs-6"),
  DEVICE_MISSING(
      "device-missing",
      "The entry does not say which device it comes from, so it cannot be recognised when it comes"
          + " again.",
      "Amend the device's serial number; if the source never sends one, set it in the mapping.",
      "identity rule of this adapter"),
  EXAM_MISSING(
      "exam-missing",
      "The entry has neither an exam number nor a time, so it cannot be recognised when it comes"
          + " again.",
      "Amend the exam number or the time of measurement.",
      "identity rule of this adapter");

  /** What decides what the result is, whose it is, or which it is. */
  private static final Set<Field> DECISIVE =
      EnumSet.of(
          Field.PATIENT_ID,
          Field.PATIENT_ID_SYSTEM,
          Field.MEASURED_AT,
          Field.VOLUME,
          Field.ABSENT_REASON,
          Field.PURPOSE,
          Field.STATUS,
          Field.DEVICE_SERIAL,
          Field.EXAM_ID,
          Field.SCAN_NUMBER,
          Field.REVISION);

  private final String code;
  private final String words;
  private final String next;
  private final String source;

  NormaliseReason(String code, String words, String next, String source) {
    this.code = code;
    this.words = words;
    this.next = next;
    this.source = source;
  }

  @Override
  public String code() {
    return code;
  }

  @Override
  public Severity severity() {
    return this == DATE_INCOMPLETE || this == DATE_UNREADABLE ? WARN : REJECT;
  }

  @Override
  public boolean fixed() {
    return true;
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

  /** Rejects where the field is decisive or a code has no translation; elsewhere warns. */
  @Override
  public Finding found(@Nullable Field field, String message) {
    boolean holds = field == null || DECISIVE.contains(field) || this == CODE_UNMAPPED;
    return new Finding(code, holds ? severity() : WARN, field, message, next);
  }
}
