// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import dev.cistern.scan.Aim;
import dev.cistern.scan.Answer;
import dev.cistern.scan.Confounder;
import dev.cistern.scan.Field;
import dev.cistern.scan.Flag;
import dev.cistern.scan.Position;
import dev.cistern.scan.Scan;
import dev.cistern.scan.Volume;
import java.math.BigDecimal;
import java.util.ArrayList;
import java.util.List;
import org.hl7.fhir.r4.model.BooleanType;
import org.hl7.fhir.r4.model.CodeableConcept;
import org.hl7.fhir.r4.model.IntegerType;
import org.hl7.fhir.r4.model.Observation.ObservationComponentComponent;
import org.hl7.fhir.r4.model.StringType;
import org.hl7.fhir.r4.model.Type;
import org.jspecify.annotations.Nullable;

/**
 * The context of a volume, one component for each thing that was said. What was not said has no
 * component; what was said to be unknown has one without a value.
 */
final class Components {
  /** Keeps a reader from computing what the two times do not tell. */
  private static final String UNTRUSTED =
      "The scanner's clock is not to be trusted; minutes from it and another clock are not known.";

  private final CodeBook codes;
  private final boolean snomed;
  private final List<ObservationComponentComponent> parts = new ArrayList<>();

  private Components(CodeBook codes, boolean snomed) {
    this.codes = codes;
    this.snomed = snomed;
  }

  static List<ObservationComponentComponent> of(Scan scan, CodeBook codes, boolean snomed) {
    Components components = new Components(codes, snomed);
    components.voiding(scan);
    components.exam(scan.exam());
    components.axes(scan.axes());
    components.handling(scan.handling());
    return components.parts;
  }

  private void voiding(Scan scan) {
    Scan.VoidContext voiding = scan.voiding();
    add(Concept.PURPOSE, codes.of(WordSet.PURPOSE, scan.measurement().purpose(), snomed));
    if (voiding.voidedAt() != null) {
      add(Concept.VOIDED_AT, Times.dateTime(voiding.voidedAt()));
    }
    boolean untrusted = scan.measurement().flags().contains(Flag.CLOCK_UNTRUSTED);
    if (untrusted && voiding.minutesSinceVoid() == null && voiding.voidedAt() != null) {
      addUnknown(Concept.MINUTES_SINCE_VOID, UNTRUSTED);
    } else {
      add(Concept.MINUTES_SINCE_VOID, voiding.minutesSinceVoid(), "min");
    }
    if (untrusted) {
      add(Concept.CLOCK_TRUSTED, new BooleanType(false));
    }
    Volume voided = voiding.voidedVolume();
    if (voided != null) {
      add(Concept.VOIDED_VOLUME, Quantities.of(voided, scan.asSent().get(Field.VOIDED_VOLUME)));
    }
  }

  private void exam(Scan.Exam exam) {
    if (exam.setting() != null) {
      add(Concept.EXAM_SETTING, codes.of(WordSet.EXAM_SETTING, exam.setting(), snomed));
    }
    add(Concept.HYSTERECTOMY, exam.hysterectomy());
    add(Concept.BODY_HEIGHT, exam.bodyHeightCm(), "cm");
    add(Concept.BODY_WEIGHT, exam.bodyWeightKg(), "kg");
    Position position = exam.position();
    if (position == Position.UNKNOWN) {
      addUnknown(Concept.POSITION);
    } else if (position != null) {
      add(Concept.POSITION, codes.of(WordSet.POSITION, position, snomed));
    }
    Aim aim = exam.aim();
    if (aim == Aim.UNKNOWN) {
      addUnknown(Concept.AIM);
    } else if (aim != null) {
      add(Concept.AIM, codes.of(WordSet.AIM, aim, snomed));
    }
    add(Concept.PUBIC_SHADOW, exam.pubicShadow());
    for (Confounder confounder : exam.confounders()) {
      add(Concept.CONFOUNDER, codes.of(WordSet.CONFOUNDER, confounder, snomed));
    }
  }

  private void axes(Scan.Axes axes) {
    add(Concept.BLADDER_LENGTH, axes.lengthCm(), "cm");
    add(Concept.BLADDER_WIDTH, axes.widthCm(), "cm");
    add(Concept.BLADDER_HEIGHT, axes.heightCm(), "cm");
  }

  private void handling(Scan.Handling handling) {
    if (handling.examId() != null) {
      add(Concept.EXAM_NUMBER, new StringType(handling.examId()));
    }
    if (handling.scanNumber() != null) {
      add(Concept.SCAN_NUMBER, new IntegerType(handling.scanNumber()));
    }
    add(Concept.ACCEPTED, handling.accepted());
  }

  private void add(Concept concept, @Nullable BigDecimal value, String unit) {
    if (value != null) {
      add(concept, Quantities.of(value, unit));
    }
  }

  private void add(Concept concept, @Nullable Answer answer) {
    if (answer == Answer.UNKNOWN) {
      addUnknown(concept);
    } else if (answer != null) {
      add(concept, new BooleanType(answer == Answer.YES));
    }
  }

  private void add(Concept concept, Type value) {
    parts.add(component(concept).setValue(value));
  }

  private void addUnknown(Concept concept) {
    addUnknown(concept, null);
  }

  private void addUnknown(Concept concept, @Nullable String why) {
    CodeableConcept reason = Absent.because(dev.cistern.scan.AbsentReason.UNKNOWN).setText(why);
    parts.add(component(concept).setDataAbsentReason(reason));
  }

  private ObservationComponentComponent component(Concept concept) {
    return new ObservationComponentComponent().setCode(codes.of(concept, snomed));
  }
}
