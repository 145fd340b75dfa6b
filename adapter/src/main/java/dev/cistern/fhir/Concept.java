// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import dev.cistern.scan.Coded;
import dev.cistern.scan.Derived;
import dev.cistern.scan.Purpose;

/** What an Observation or one of its components says, in the words of our own CodeSystem. */
public enum Concept implements Coded {
  BLADDER_VOLUME_POST_VOID(
      "bladder-volume-post-void", "Bladder volume after voiding, by ultrasound"),
  BLADDER_VOLUME_PRE_VOID(
      "bladder-volume-pre-void", "Bladder volume before voiding, by ultrasound"),
  BLADDER_VOLUME("bladder-volume", "Bladder volume, by ultrasound, relation to voiding not stated"),
  BLADDER_CAPACITY("bladder-capacity", "Bladder capacity, computed from void and residual"),
  VOIDING_EFFICIENCY("voiding-efficiency", "Voiding efficiency, computed from void and residual"),
  PURPOSE("purpose", "Relation of the scan to voiding"),
  VOIDED_AT("voided-at", "Time of the last void"),
  MINUTES_SINCE_VOID("minutes-since-void", "Time from void to scan, as stated by the sender"),
  CLOCK_TRUSTED("clock-trusted", "Clock of the scanner is to be trusted"),
  VOIDED_VOLUME("voided-volume", "Volume of the last void"),
  EXAM_SETTING("exam-setting", "Anatomy the scanner was set to"),
  HYSTERECTOMY("hysterectomy", "Uterus removed"),
  BODY_HEIGHT("body-height", "Body height"),
  BODY_WEIGHT("body-weight", "Body weight"),
  POSITION("position", "Position of the patient during the scan"),
  BLADDER_LENGTH("bladder-length", "Length of the bladder"),
  BLADDER_WIDTH("bladder-width", "Width of the bladder"),
  BLADDER_HEIGHT("bladder-height", "Height of the bladder"),
  AIM("aim", "Aim of the probe at the bladder"),
  PUBIC_SHADOW("pubic-shadow", "Pubic bone shadows the image"),
  CONFOUNDER("confounder", "Known to spoil a reading"),
  EXAM_NUMBER("exam-number", "Number of the exam on the scanner"),
  SCAN_NUMBER("scan-number", "Number of the scan in its exam"),
  ACCEPTED("accepted", "Accepted by the person who scanned");

  private final String code;
  private final String display;

  Concept(String code, String display) {
    this.code = code;
    this.display = display;
  }

  @Override
  public String code() {
    return code;
  }

  public String display() {
    return display;
  }

  static Concept of(Derived kind) {
    return switch (kind) {
      case CAPACITY -> BLADDER_CAPACITY;
      case VOIDING_EFFICIENCY -> VOIDING_EFFICIENCY;
    };
  }

  /** Post-void only where the sender said so. */
  static Concept ofVolume(Purpose purpose) {
    return switch (purpose) {
      case POST_VOID -> BLADDER_VOLUME_POST_VOID;
      case PRE_VOID -> BLADDER_VOLUME_PRE_VOID;
      case UNSPECIFIED -> BLADDER_VOLUME;
    };
  }
}
