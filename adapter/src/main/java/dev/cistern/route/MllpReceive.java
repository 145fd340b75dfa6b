// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.config.Settings;
import dev.cistern.mapping.Hl7Envelope;
import dev.cistern.mapping.Hl7Envelope.Code;
import dev.cistern.mapping.Hl7Envelope.Complaint;
import dev.cistern.mapping.Hl7Envelope.Condition;
import dev.cistern.refine.MessageDesk;
import java.time.Clock;
import java.time.Instant;
import java.util.List;
import org.apache.camel.Exchange;
import org.apache.camel.InvalidPayloadException;
import org.apache.camel.Processor;

/**
 * Answers one message of a connection, after the commit: AA it is kept, AE it is kept and held
 * because it was not understood, AR it is not kept and still the sender's.
 */
final class MllpReceive implements Processor {
  private final Settings.Mllp source;
  private final MessageDesk desk;
  private final Clock clock;

  MllpReceive(Settings.Mllp source, MessageDesk desk, Clock clock) {
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
      answer(exchange, envelope, Code.AR, List.of(complaint), clock.instant());
      return;
    }
    MessageDesk.Kept kept = desk.receive(source.name(), source.kind(), message);
    List<Complaint> held = kept.held().stream().map(MllpReceive::complaint).toList();
    boolean says = source.acknowledge() == Settings.Acknowledge.MAPPED && !held.isEmpty();
    answer(exchange, envelope, says ? Code.AE : Code.AA, says ? held : List.of(), clock.instant());
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
    answer(
        exchange,
        Hl7Envelope.read(message),
        Code.AR,
        List.of(
            new Complaint(
                Condition.INTERNAL,
                "not-kept",
                "The message was NOT kept; send it again after a while.")),
        Instant.ofEpochMilli(exchange.getClock().getCreated()));
  }

  private static void answer(
      Exchange exchange, Hl7Envelope envelope, Code code, List<Complaint> complaints, Instant now) {
    exchange.getMessage().setBody(MllpFrames.framed(envelope.answer(code, complaints, now)));
  }
}
