// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import ca.uhn.hl7v2.HL7Exception;
import ca.uhn.hl7v2.model.GenericMessage;
import ca.uhn.hl7v2.model.GenericSegment;
import ca.uhn.hl7v2.model.Segment;
import ca.uhn.hl7v2.parser.GenericModelClassFactory;
import ca.uhn.hl7v2.util.Terser;
import dev.cistern.scan.Sha256;
import java.nio.charset.Charset;
import java.nio.charset.StandardCharsets;
import java.time.Instant;
import java.time.ZoneOffset;
import java.time.format.DateTimeFormatter;
import java.util.List;
import java.util.regex.Pattern;
import org.jspecify.annotations.Nullable;

/**
 * The header of one HL7 v2 message that came over a connection, and the acknowledgement that
 * answers it (HL7 v2.5.1, sections 2.9 and 2.15: MSH, MSA, ERR).
 */
public final class Hl7Envelope {
  private static final DateTimeFormatter TIME =
      DateTimeFormatter.ofPattern("yyyyMMddHHmmssxx").withZone(ZoneOffset.UTC);
  private static final Pattern VERSION =
      Pattern.compile("2\\.(?:3(?:\\.1)?|4|5(?:\\.1)?|6|7(?:\\.1)?)");
  private static final Pattern NEXT_MESSAGE =
      Pattern.compile("[\\r\\n](?:MSH|FHS|BHS)[^A-Za-z0-9\\r\\n]");
  private static final String PLAIN = "MSH|^~\\&|";

  /** What an acknowledgement says (HL7 table 0008). */
  public enum Code {
    /** Accepted: committed. */
    AA,
    /** Committed, and held for a person. */
    AE,
    /** Not taken: it is still the sender's. */
    AR,
    /** Enhanced mode: committed. */
    CA,
    /** Enhanced mode: not taken, for a reason that passes. */
    CE,
    /** Enhanced mode: not taken, for what it is. */
    CR
  }

  /**
   * What the sender wants to be told (HL7 v2.5.1, 2.9.3).
   *
   * @param enhanced whether it says so at all; else one application acknowledgement is due
   */
  public record Wishes(boolean enhanced, Hl7Wish accept, Hl7Wish application) {}

  /**
   * One ERR segment.
   *
   * @param condition a code of HL7 table 0357
   * @param reason our own code
   * @param text for the person who reads the sender's log; holds nothing of a patient
   */
  public record Complaint(Condition condition, String reason, String text) {}

  /** Conditions of HL7 table 0357, as far as they are used. */
  public enum Condition {
    SEGMENT_SEQUENCE("100", "Segment sequence error"),
    REQUIRED_MISSING("101", "Required field missing"),
    DATA_TYPE("102", "Data type error"),
    TABLE_VALUE("103", "Table value not found"),
    UNSUPPORTED_TYPE("200", "Unsupported message type"),
    UNSUPPORTED_EVENT("201", "Unsupported event code"),
    UNSUPPORTED_VERSION("203", "Unsupported version id"),
    INTERNAL("207", "Application internal error");

    private final String code;
    private final String words;

    Condition(String code, String words) {
      this.code = code;
      this.words = words;
    }
  }

  private final Segment msh;
  private final Hl7Syntax syntax;
  private final Charset charset;
  private final byte[] message;
  private final @Nullable Complaint broken;

  private Hl7Envelope(
      Segment msh, Hl7Syntax syntax, Charset charset, byte[] message, @Nullable Complaint broken) {
    this.msh = msh;
    this.syntax = syntax;
    this.charset = charset;
    this.message = message;
    this.broken = broken;
  }

  /** Reads the header; one that cannot be read can still be answered. */
  public static Hl7Envelope read(byte[] message) {
    String text = new String(message, StandardCharsets.ISO_8859_1);
    int end = text.indexOf('\r');
    int feed = text.indexOf('\n');
    int cut = end < 0 ? feed : feed < 0 ? end : Math.min(end, feed);
    String head = cut < 0 ? text : text.substring(0, cut);
    if (!head.startsWith("MSH")) {
      return unreadable(message);
    }
    try {
      Hl7Syntax syntax = Hl7Syntax.of(head);
      Charset named = Hl7Charset.of(head);
      Charset charset = named == null ? StandardCharsets.US_ASCII : named;
      String decoded = new String(head.getBytes(StandardCharsets.ISO_8859_1), charset);
      Segment msh = syntax.parse("MSH", decoded);
      return new Hl7Envelope(msh, syntax, charset, message, complaint(msh, text));
    } catch (DecodeFault | HL7Exception e) {
      return unreadable(message);
    }
  }

  private static Hl7Envelope unreadable(byte[] message) {
    try {
      Hl7Syntax syntax = Hl7Syntax.of(PLAIN);
      return new Hl7Envelope(
          syntax.parse("MSH", PLAIN),
          syntax,
          StandardCharsets.US_ASCII,
          message,
          new Complaint(
              Condition.SEGMENT_SEQUENCE,
              "malformed-hl7",
              "The frame does not begin with an MSH segment that can be read."));
    } catch (DecodeFault | HL7Exception e) {
      throw new IllegalStateException("the plain header cannot be read", e);
    }
  }

  private static @Nullable Complaint complaint(Segment msh, String text) throws HL7Exception {
    String type = field(msh, 9, 1);
    String event = field(msh, 9, 2);
    String version = field(msh, 12, 1);
    if (field(msh, 10, 1).isBlank()) {
      return new Complaint(
          Condition.REQUIRED_MISSING,
          "control-id-missing",
          "MSH-10 (message control id) is empty.");
    } else if (!type.equals("ORU")) {
      return new Complaint(
          Condition.UNSUPPORTED_TYPE, "message-type", "Only ORU^R01 is taken here.");
    } else if (!event.isEmpty() && !event.equals("R01")) {
      return new Complaint(
          Condition.UNSUPPORTED_EVENT, "message-event", "Only ORU^R01 is taken here.");
    } else if (!VERSION.matcher(version).matches()) {
      return new Complaint(
          Condition.UNSUPPORTED_VERSION,
          "message-version",
          "MSH-12 must name a version from 2.3 to 2.7.");
    } else if (NEXT_MESSAGE.matcher(text).find()) {
      return new Complaint(
          Condition.SEGMENT_SEQUENCE,
          "message-not-alone",
          "The frame holds more than one message; send each in a frame of its own.");
    }
    return null;
  }

  private static String field(Segment segment, int field, int component) throws HL7Exception {
    String value = Terser.get(segment, field, 0, component, 1);
    return value == null ? "" : value;
  }

  /** Why this message is not one to take at all; null where it is. */
  public @Nullable Complaint complaint() {
    return broken;
  }

  public Wishes wishes() {
    try {
      String accept = field(msh, 15, 1);
      String application = field(msh, 16, 1);
      return new Wishes(
          !accept.isEmpty() || !application.isEmpty(),
          Hl7Wish.read(accept),
          Hl7Wish.read(application));
    } catch (HL7Exception e) {
      return new Wishes(false, Hl7Wish.NE, Hl7Wish.AL);
    }
  }

  /**
   * The acknowledgement's bytes, in the charset of the message, without the frame.
   *
   * @throws IllegalStateException never for a message that {@link #read} returned
   */
  public byte[] answer(Code code, List<Complaint> complaints, Instant now) {
    try {
      GenericMessage answer = new GenericMessage.V25(new GenericModelClassFactory());
      answer.setParser(syntax.parser());
      StringBuilder text = new StringBuilder(syntax.encode(header(answer, code, now))).append('\r');
      text.append(syntax.encode(receipt(answer, code, complaints))).append('\r');
      for (Complaint each : complaints) {
        text.append(syntax.encode(error(answer, each))).append('\r');
      }
      return text.toString().getBytes(charset);
    } catch (HL7Exception e) {
      throw new IllegalStateException("an acknowledgement cannot be written", e);
    }
  }

  private Segment header(GenericMessage answer, Code code, Instant now) throws HL7Exception {
    Segment own = new GenericSegment(answer, "MSH");
    set(own, 1, 1, String.valueOf(syntax.fieldSeparator()));
    set(own, 2, 1, field(msh, 2, 1));
    for (int each = 1; each <= 3; each++) {
      // Who received is who answers (HL7 v2.5.1, 2.9.2.2).
      set(own, 3, each, field(msh, 5, each));
      set(own, 4, each, field(msh, 6, each));
      set(own, 5, each, field(msh, 3, each));
      set(own, 6, each, field(msh, 4, each));
    }
    set(own, 7, 1, TIME.format(now));
    set(own, 9, 1, "ACK");
    set(own, 9, 2, field(msh, 9, 2));
    if (since25()) {
      set(own, 9, 3, "ACK");
    }
    // Two answers to one message are two messages.
    set(own, 10, 1, code.name().charAt(0) + Sha256.hex(message).substring(0, 18));
    set(own, 11, 1, otherwise(field(msh, 11, 1), "P"));
    set(own, 12, 1, otherwise(field(msh, 12, 1), "2.5.1"));
    set(own, 18, 1, field(msh, 18, 1));
    return own;
  }

  private Segment receipt(GenericMessage answer, Code code, List<Complaint> complaints)
      throws HL7Exception {
    Segment receipt = new GenericSegment(answer, "MSA");
    set(receipt, 1, 1, code.name());
    set(receipt, 2, 1, field(msh, 10, 1));
    if (!complaints.isEmpty() && !since25()) {
      set(receipt, 3, 1, complaints.get(0).text());
    }
    return receipt;
  }

  /** ERR-1 up to version 2.4; ERR-3, 4, 5 and 8 since 2.5. */
  private Segment error(GenericMessage answer, Complaint complaint) throws HL7Exception {
    Segment error = new GenericSegment(answer, "ERR");
    Condition condition = complaint.condition();
    if (!since25()) {
      Terser.set(error, 1, 0, 4, 1, condition.code);
      Terser.set(error, 1, 0, 4, 2, condition.words);
      Terser.set(error, 1, 0, 4, 3, "HL70357");
      return error;
    }
    set(error, 3, 1, condition.code);
    set(error, 3, 2, condition.words);
    set(error, 3, 3, "HL70357");
    set(error, 4, 1, "E");
    set(error, 5, 1, complaint.reason());
    set(error, 8, 1, complaint.text());
    return error;
  }

  private boolean since25() throws HL7Exception {
    return !field(msh, 12, 1).matches("2\\.[0-4](\\..*)?");
  }

  private static String otherwise(String value, String other) {
    return value.isEmpty() ? other : value;
  }

  private static void set(Segment segment, int field, int component, String value)
      throws HL7Exception {
    if (!value.isEmpty()) {
      Terser.set(segment, field, 0, component, 1, value);
    }
  }

  /** Never shows the message. */
  @Override
  public String toString() {
    return "Hl7Envelope[" + message.length + " bytes]";
  }
}
