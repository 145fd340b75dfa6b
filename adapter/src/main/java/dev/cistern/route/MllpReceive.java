// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.config.Settings;
import dev.cistern.mapping.Hl7Envelope;
import dev.cistern.mapping.Hl7Envelope.Code;
import dev.cistern.mapping.Hl7Envelope.Complaint;
import dev.cistern.mapping.Hl7Envelope.Condition;
import dev.cistern.mapping.Hl7Wish;
import dev.cistern.refine.MessageDesk;
import dev.cistern.refine.Messages;
import java.io.ByteArrayOutputStream;
import java.time.Clock;
import java.time.Instant;
import java.util.List;
import org.apache.camel.Exchange;
import org.apache.camel.InvalidPayloadException;
import org.apache.camel.Processor;

/**
 * Answers one message of a connection, after the commit: AA it is kept, AE it is kept and held
 * because it was not understood, AR it is not kept and still the sender's. A sender that fills
 * MSH-15 or MSH-16 gets what it wants of CA, CE, CR and these.
 */
final class MllpReceive implements Processor {
  private final Settings.Mllp source;
  private final Messages desk;
  private final Clock clock;

  MllpReceive(Settings.Mllp source, Messages desk, Clock clock) {
    this.source = source;
    this.desk = desk;
    this.clock = clock;
  }

  Settings.Mllp source() {
    return source;
  }

  @Override
  public void process(Exchange exchange) throws InvalidPayloadException {
    byte[] message = MllpFrames.message(exchange.getMessage().getMandatoryBody(byte[].class));
    Hl7Envelope envelope = Hl7Envelope.read(message);
    Complaint complaint = envelope.complaint();
    if (complaint != null) {
      notTaken(exchange, envelope, Code.CR, complaint, clock.instant());
      return;
    }
    MessageDesk.Kept kept = desk.receive(source.name(), source.kind(), message);
    List<Complaint> held = kept.held().stream().map(MllpReceive::complaint).toList();
    boolean says = source.acknowledge() == Settings.Acknowledge.MAPPED && !held.isEmpty();
    taken(exchange, envelope, says ? held : List.of(), clock.instant());
  }

  private static Complaint complaint(MessageDesk.Held held) {
    Condition condition =
        held.code().contains("unmapped")
            ? Condition.TABLE_VALUE
            : held.code().contains("missing") ? Condition.REQUIRED_MISSING : Condition.DATA_TYPE;
    return new Complaint(
        condition,
        held.code(),
        "Kept as entry " + held.entry() + " and held for a person; do not send it again.");
  }

  /** The store cannot be written, or something else broke: the sender keeps its message. */
  static void notKept(Exchange exchange) throws InvalidPayloadException {
    byte[] message = MllpFrames.message(exchange.getMessage().getMandatoryBody(byte[].class));
    Complaint complaint =
        new Complaint(
            Condition.INTERNAL,
            "not-kept",
            "The message was NOT kept; send it again after a while.");
    notTaken(
        exchange,
        Hl7Envelope.read(message),
        Code.CE,
        complaint,
        Instant.ofEpochMilli(exchange.getClock().getCreated()));
  }

  /**
   * In the enhanced mode first that it is kept, then what it is worth, as far as that is wanted.
   */
  private static void taken(
      Exchange exchange, Hl7Envelope envelope, List<Complaint> held, Instant now) {
    Hl7Envelope.Wishes wishes = envelope.wishes();
    ByteArrayOutputStream frames = new ByteArrayOutputStream();
    if (wishes.enhanced() && wishes.accept().holds(true)) {
      frames.writeBytes(framed(envelope, Code.CA, List.of(), now));
    }
    if (!wishes.enhanced() || wishes.application().holds(held.isEmpty())) {
      frames.writeBytes(framed(envelope, held.isEmpty() ? Code.AA : Code.AE, held, now));
    }
    exchange.getMessage().setBody(frames.size() == 0 ? null : frames.toByteArray());
  }

  /**
   * Said whether it is wanted or not: a sender that hears nothing would take its message for kept.
   *
   * @param accept the code of the enhanced mode
   */
  private static void notTaken(
      Exchange exchange, Hl7Envelope envelope, Code accept, Complaint complaint, Instant now) {
    Hl7Envelope.Wishes wishes = envelope.wishes();
    boolean application =
        !wishes.enhanced() || (wishes.accept() == Hl7Wish.NE && wishes.application().holds(false));
    Code code = application ? Code.AR : accept;
    exchange.getMessage().setBody(framed(envelope, code, List.of(complaint), now));
  }

  private static byte[] framed(
      Hl7Envelope envelope, Code code, List<Complaint> complaints, Instant now) {
    return MllpFrames.framed(envelope.answer(code, complaints, now));
  }
}
