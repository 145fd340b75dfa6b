// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import static dev.cistern.scan.Severity.NOTE;
import static dev.cistern.scan.Severity.REJECT;
import static dev.cistern.scan.Severity.WARN;

import dev.cistern.scan.Field;
import dev.cistern.scan.Flag;
import dev.cistern.scan.IdEntry;
import dev.cistern.scan.Scan;
import java.time.LocalDate;
import java.time.ZoneOffset;
import org.jspecify.annotations.Nullable;

/** Whose result it is, as far as the entry itself can tell. No sentence here shows a number. */
enum IdentityCheck implements Check {
  PATIENT_MISSING(
      Rule.required(
          "patient-missing",
          Field.PATIENT_ID,
          "The entry does not say whose result it is.",
          "Find out from the ward, and amend the patient's number; nobody is guessed.",
          "Clin Chem 2010;56:1554: a wrong identity is not noticed later",
          IdentityCheck::missing)),
  CHECK_DIGIT_WRONG(
      Rule.of(
          "patient-check-digit-wrong",
          REJECT,
          Field.PATIENT_ID,
          "The patient's number is not one of its scheme: a digit is wrong, or two are swapped.",
          "Compare with the wristband, and amend the patient's number.",
          "HL7 v2 table 0061; NHS Data Model and Dictionary; ISO/IEC 7064; ISO/IEC 7812-1",
          IdentityCheck::checkDigit)),
  SENT_CHECK_DIGIT_WRONG(
      Rule.of(
          "patient-check-digit-differs",
          REJECT,
          Field.PATIENT_ID,
          "The check digit that came beside the patient's number is not the one of this number.",
          "Compare with the wristband, and amend the patient's number. If it is right, the sender's"
              + " digit is wrong: amend patientIdCheck to a blank, and tell the sender.",
          "HL7 v2.5.1, chapter 2A, data type CX, and table 0061; ISO/IEC 7812-1; ISO/IEC 7064",
          IdentityCheck::sentDigit)),
  SENT_CHECK_DIGIT_NOT_CHECKED(
      Rule.of(
          "patient-check-digit-not-checked",
          NOTE,
          Field.PATIENT_ID,
          "A check digit came beside the patient's number, but its scheme is missing, unknown, or"
              + " only for numbers of digits.",
          "Nothing; have the sender name the scheme if it can.",
          "HL7 v2.5.1, chapter 2A, data type CX, and table 0061",
          IdentityCheck::sentDigitNotChecked)),
  NUMBER_FOR_TESTS(
      Rule.of(
          "patient-number-for-tests",
          WARN,
          Field.PATIENT_ID,
          "The patient's number is from a range that is never given to a patient.",
          "If this is no test, find out whose result it is, and amend the patient's number.",
          "NHS numbers that begin with 999 are for tests: from secondary sources",
          IdentityCheck::forTests)),
  NUMBER_WITH_BLANKS(
      Rule.of(
          "patient-number-with-blanks",
          WARN,
          Field.PATIENT_ID,
          "The patient's number has blanks inside and may not be found.",
          "Amend it as the record writes it; if the source always writes it so, tell whoever looks"
              + " after the mapping.",
          "common practice, no source",
          IdentityCheck::blanks)),
  NUMBER_TYPED(
      Rule.of(
          "patient-number-typed",
          NOTE,
          Field.PATIENT_ID_ENTRY,
          "The patient's number was typed, not read from a wristband; a second identifier or a"
              + " check digit guards it.",
          "Nothing; scan the wristband where it can be done.",
          "JAMIA 2019;26:269 (PMC6351970), an analogue: 3.7 % of 6,930 device results keyed by hand"
              + " were wrong",
          IdentityCheck::typed)),
  NUMBER_TYPED_ALONE(
      Rule.of(
          "patient-number-typed-alone",
          WARN,
          Field.PATIENT_ID_ENTRY,
          "The patient's number was typed, and nothing guards it: neither name nor date of birth"
              + " came with it, nor has it a check digit.",
          "Compare with the wristband. Have the source send the date of birth too, or scan the"
              + " wristband; where the numbers have check digits, set their scheme.",
          "JAMIA 2019;26:269 (PMC6351970), an analogue: 3.7 % of 6,930 device results keyed by hand"
              + " were wrong",
          IdentityCheck::typedAlone)),
  BIRTH_DATE_IMPLAUSIBLE(
      Rule.of(
          "birth-date-implausible",
          WARN,
          Field.BIRTH_DATE,
          "The date of birth lies after the scan, or more than 130 years before it.",
          "Compare with the record; the date only serves to compare, and the century may be wrong.",
          "common practice, no source",
          IdentityCheck::birthDate));

  private static final int OLDEST = 130;

  @SuppressWarnings("ImmutableEnumChecker") // texts and a method
  private final Rule rule;

  IdentityCheck(Rule rule) {
    this.rule = rule;
  }

  @Override
  public Rule rule() {
    return rule;
  }

  private static @Nullable String missing(Sight sight) {
    return sight.scan().subject().patientId() == null && !sight.wasSent(Field.PATIENT_ID)
        ? "The entry has no patient number."
        : null;
  }

  private static @Nullable String checkDigit(Sight sight) {
    String number = sight.scan().subject().patientId();
    CheckDigits scheme = sight.policy().checkDigits();
    return number == null || scheme.hold(number)
        ? null
        : "The patient's number does not hold by the scheme " + scheme.code() + ".";
  }

  private static SentCheckDigit.Verdict sent(Sight sight) {
    return SentCheckDigit.read(sight.sent(Field.PATIENT_ID_CHECK))
        .beside(sight.scan().subject().patientId());
  }

  private static @Nullable String sentDigit(Sight sight) {
    return sent(sight) == SentCheckDigit.Verdict.WRONG
        ? "The check digit beside the patient's number is not the one of this number."
        : null;
  }

  private static @Nullable String sentDigitNotChecked(Sight sight) {
    return sent(sight) == SentCheckDigit.Verdict.NOT_CHECKED
        ? "The check digit beside the patient's number could not be checked."
        : null;
  }

  private static @Nullable String forTests(Sight sight) {
    String number = sight.scan().subject().patientId();
    return number != null
            && sight.policy().checkDigits() == CheckDigits.NHS
            && number.startsWith("999")
            && !sight.scan().measurement().flags().contains(Flag.TEST)
        ? "The patient's number is from the range for tests, but the result is not marked as one."
        : null;
  }

  private static @Nullable String blanks(Sight sight) {
    String number = sight.scan().subject().patientId();
    return number != null && number.indexOf(' ') >= 0
        ? "The patient's number has blanks inside."
        : null;
  }

  private static boolean isTyped(Sight sight) {
    Scan.Subject subject = sight.scan().subject();
    return subject.patientId() != null && subject.entry() == IdEntry.TYPED;
  }

  /** Whether a slip of the finger would be noticed: here, or when the patient is looked up. */
  private static boolean isGuarded(Sight sight) {
    Scan.Subject subject = sight.scan().subject();
    return sight.policy().checkDigits() != CheckDigits.NONE
        || sent(sight) == SentCheckDigit.Verdict.HOLDS
        || subject.birthDate() != null
        || subject.name() != null;
  }

  private static @Nullable String typed(Sight sight) {
    return isTyped(sight) && isGuarded(sight)
        ? "The patient's number was typed, not read from a wristband."
        : null;
  }

  private static @Nullable String typedAlone(Sight sight) {
    return isTyped(sight) && !isGuarded(sight)
        ? "The patient's number was typed; no name, date of birth or check digit guards it."
        : null;
  }

  private static @Nullable String birthDate(Sight sight) {
    LocalDate birth = sight.scan().subject().birthDate();
    if (birth == null) {
      return null;
    }
    LocalDate day =
        sight.measuredAt() == null
            ? sight.now().atOffset(ZoneOffset.UTC).toLocalDate()
            : sight.measuredAt().toLocalDate();
    if (birth.isAfter(day)) {
      return "The date of birth lies after the scan.";
    }
    return birth.isBefore(day.minusYears(OLDEST))
        ? "The date of birth lies more than " + OLDEST + " years before the scan."
        : null;
  }
}
