// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.refine;

import dev.cistern.check.Checks;
import dev.cistern.ledger.LedgerUnavailable;
import dev.cistern.mapping.Format;
import dev.cistern.mapping.Mapping;
import dev.cistern.normalise.Normaliser;
import dev.cistern.scan.Arrival;
import dev.cistern.scan.ClockEvidence;
import dev.cistern.scan.Field;
import dev.cistern.scan.FieldValue;
import dev.cistern.scan.Fields;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Normalised;
import dev.cistern.scan.Place;
import dev.cistern.scan.RawEntry;
import dev.cistern.scan.Reading;
import dev.cistern.scan.Refined;
import dev.cistern.scan.Scan;
import java.time.Clock;
import java.util.ArrayList;
import java.util.EnumMap;
import java.util.EnumSet;
import java.util.List;
import java.util.Map;
import java.util.Set;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/**
 * Makes of decoded entries what they mean. The same entry gives the same result, today and at
 * replay: of the scanner's clock, too, it sees only what was known when the entry arrived. Only how
 * long the entry has waited here is told anew.
 */
public final class Refinery {
  private static final Logger log = LoggerFactory.getLogger(Refinery.class);

  /** With a volume, or the reason for having none, these make a result. */
  private static final Set<Field> RESULT =
      EnumSet.of(Field.PATIENT_ID, Field.MEASURED_AT, Field.DEVICE_SERIAL, Field.PURPOSE);

  private final Normaliser normaliser = new Normaliser();
  private volatile Checks checks;
  private final Clocks clocks;
  private final Clock clock;

  /**
   * @param clock says how long an entry has waited, and nothing else
   */
  public Refinery(Checks checks, Clocks clocks, Clock clock) {
    this.checks = checks;
    this.clocks = clocks;
    this.clock = clock;
  }

  public Checks checks() {
    return checks;
  }

  /**
   * From now on entries are checked by these; one that is under way is checked whole as it began.
   */
  public void use(Checks other) {
    checks = other;
  }

  /** The same for a trial, by other checks. */
  public Refinery under(Checks other) {
    return new Refinery(other, clocks, clock);
  }

  /**
   * Refines one entry.
   *
   * @param amended fields that people set, as texts in canonical form
   * @throws LedgerUnavailable where what is known of the device's clock cannot be read now: that is
   *     no fault of the entry
   */
  public Refined refine(
      Mapping mapping, RawEntry raw, Map<Field, String> amended, Arrival arrival) {
    Checks by = checks;
    try {
      return understood(mapping, raw, amended, arrival, by);
    } catch (LedgerUnavailable e) {
      throw e;
    } catch (RuntimeException | StackOverflowError e) {
      // The type and place only: a message could quote the input.
      log.error(
          "refining entry {} of a submission of {} failed: {} at {}",
          raw.place().ordinal(),
          arrival.source(),
          e.getClass().getName(),
          e.getStackTrace().length == 0 ? "unknown" : e.getStackTrace()[0]);
      return refused(
          mapping,
          raw.place(),
          List.of(
              RefineReason.REFINE_FAILED.found(
                  null, "This result could not be processed because of a fault of the program.")),
          by);
    }
  }

  private Refined understood(
      Mapping mapping, RawEntry raw, Map<Field, String> amended, Arrival arrival, Checks by) {
    Fields fields = raw.fields().overlaid(overlay(mapping, amended));
    List<Finding> decoding =
        by.applySeverities(
            raw.findings().stream().filter(finding -> !isAmended(finding, amended)).toList());
    if (fields.values().isEmpty() && Finding.anyRejects(decoding)) {
      // What could not be read at all lacks everything; saying so field by field helps nobody.
      return refused(mapping, raw.place(), decoding, by);
    }
    Normalised normalised = normaliser.normalise(fields, arrival);
    ClockEvidence evidence = evidence(mapping, normalised.scan(), amended, arrival);
    Scan scan = by.applyClock(by.applyRange(normalised.scan()), arrival, evidence);
    List<Finding> normalising = by.applySeverities(normalised.findings());
    Set<Field> unread = unread(decoding, normalising);
    List<Finding> findings = new ArrayList<>(decoding);
    findings.addAll(normalising);
    by.run(scan, normalised.key(), arrival, clock.instant(), evidence).stream()
        .filter(finding -> finding.field() == null || !unread.contains(finding.field()))
        .forEach(findings::add);
    return new Refined(
        raw.place(),
        scan,
        normalised.key(),
        findings,
        versioned(mapping),
        by.policy().versioned(),
        by.oneExam(scan));
  }

  /** Of a time that a person typed, the scanner's clock says nothing. */
  private ClockEvidence evidence(
      Mapping mapping, Scan scan, Map<Field, String> amended, Arrival arrival) {
    String device = scan.device().serial();
    boolean typed = mapping.format() == Format.FORM || amended.containsKey(Field.MEASURED_AT);
    return device == null || typed
        ? ClockEvidence.NONE
        : clocks.before(device, arrival.receivedAt());
  }

  /** A finding about the whole entry falls only where a person gave all that makes a result. */
  private static boolean isAmended(Finding finding, Map<Field, String> amended) {
    return finding.field() == null
        ? isWhole(amended)
        : amended.containsKey(finding.field())
            || (finding.field() == Field.PATIENT_ID_CHECK && amended.containsKey(Field.PATIENT_ID));
  }

  private static boolean isWhole(Map<Field, String> amended) {
    return amended.keySet().containsAll(RESULT)
        && (amended.containsKey(Field.VOLUME) || amended.containsKey(Field.ABSENT_REASON));
  }

  /**
   * Fields that were sent and could not be taken from the bytes, or translated: that they are
   * missing now is no finding of its own.
   */
  private static Set<Field> unread(List<Finding> decoding, List<Finding> normalising) {
    Set<Field> unread = EnumSet.noneOf(Field.class);
    for (Finding finding : decoding) {
      if (finding.rejects() && finding.field() != null) {
        unread.add(finding.field());
      }
    }
    for (Finding finding : normalising) {
      Field field = finding.field();
      if (finding.rejects() && field != null && field.kind() == Field.Kind.CODE) {
        unread.add(field);
      }
    }
    return unread;
  }

  /** An entry of which nothing but findings is known. */
  Refined refused(Mapping mapping, Place place, List<Finding> findings) {
    return refused(mapping, place, findings, checks);
  }

  private Refined refused(Mapping mapping, Place place, List<Finding> findings, Checks by) {
    Scan nothing =
        normaliser
            .normalise(Fields.NONE, new Arrival("", java.time.Instant.EPOCH, place.ordinal(), null))
            .scan();
    return new Refined(
        place,
        nothing,
        null,
        findings,
        versioned(mapping),
        by.policy().versioned(),
        by.oneExam(nothing));
  }

  private static String versioned(Mapping mapping) {
    return mapping.name() + "@" + mapping.version();
  }

  /** A bare number that a person sets is in the unit in which the scan keeps the field. */
  private static String inUnit(Field field, String text) {
    boolean bare = !text.isBlank() && text.codePoints().noneMatch(Character::isLetter);
    return switch (field.kind()) {
      case VOLUME -> bare ? text + " mL" : text;
      case LENGTH -> bare ? text + " cm" : text;
      case MASS -> bare ? text + " kg" : text;
      default -> text;
    };
  }

  private static Map<Field, FieldValue> overlay(Mapping mapping, Map<Field, String> amended) {
    Map<Field, FieldValue> overlay = new EnumMap<>(Field.class);
    Reading reading = Reading.canonicalIn(mapping.zone());
    amended.forEach(
        (field, text) -> overlay.put(field, FieldValue.amended(inUnit(field, text), reading)));
    if (amended.containsKey(Field.PATIENT_ID)) {
      // How the sender came by another number, and its check digit, say nothing of this one.
      overlay.putIfAbsent(Field.PATIENT_ID_ENTRY, FieldValue.amended("", reading));
      overlay.putIfAbsent(Field.PATIENT_ID_CHECK, FieldValue.amended("", reading));
    }
    return overlay;
  }
}
