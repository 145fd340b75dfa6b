// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.wire.Answer;
import java.util.Arrays;
import java.util.Optional;
import org.jspecify.annotations.Nullable;

/** Why delivery is paused. A pause is never an entry's fault, and rejects none. */
public enum PauseReason {
  UNREACHABLE(
      "unreachable",
      "the server cannot be reached",
      "Check that the server runs, the network, and the address in fhir.base."),
  TLS(
      "tls",
      "there is no trusted connection",
      "Run probe and check; then see to the certificates that they name."),
  AUTHENTICATION(
      "authentication",
      "the server does not accept who we are",
      "Run probe; see to the password, token or key in fhir.auth, and to its registration."),
  CONFIGURATION(
      "configuration",
      "the server does not take what we send (look at fhir.base and at our rights there)",
      "Run probe; check fhir.base, fhir.mode and the rights that the server gives us."),
  LATER(
      "later",
      "the server asks for a pause",
      "Nothing, unless it lasts: then ask the server's operator."),
  NO_ANSWER(
      "no-answer",
      "the server's answer is missing",
      "Nothing, unless it lasts: then look at the server and at what stands in between."),
  SERVER_FAILS(
      "server-fails",
      "the server fails",
      "Nothing, unless it lasts: then show the time of the pause to the server's operator."),
  REFUSES_EVERYTHING(
      "refuses-everything",
      "the server refuses everything; nothing more is sent before somebody has looked",
      "Look at the rejected entries: when the cause is removed, delivery goes on by itself.");

  private final String code;
  private final String sentence;
  private final String next;

  PauseReason(String code, String sentence, String next) {
    this.code = code;
    this.sentence = sentence;
    this.next = next;
  }

  public String code() {
    return code;
  }

  /** What is the matter, without a full stop. */
  public String sentence() {
    return sentence;
  }

  /** What somebody who looks after the interface does about it. */
  public String next() {
    return next;
  }

  /** Code and sentence, as the ledger keeps them; {@link #of(String)} finds the code again. */
  String words(String detail) {
    return code + ": " + sentence + (detail.isEmpty() ? "" : ": " + detail);
  }

  /** What an answer that is about no entry in particular says about the server. */
  static PauseReason of(Answer answer) {
    if (answer instanceof Answer.NotSent notSent) {
      return switch (notSent.hindrance()) {
        case UNREACHABLE -> UNREACHABLE;
        case TLS -> TLS;
        case ACCESS -> AUTHENTICATION;
      };
    }
    if (!(answer instanceof Answer.Answered answered)) {
      return NO_ANSWER;
    }
    return switch (AnswerClass.of(answered.status())) {
      case DONE, UNKNOWN -> NO_ANSWER;
      case LATER -> LATER;
      case AUTHENTICATION -> AUTHENTICATION;
      case SERVER_ERROR -> SERVER_FAILS;
      case CONFIGURATION, CONFLICT, PRECONDITION, GONE, OWN_FAULT -> CONFIGURATION;
    };
  }

  /** The reason of a pause that the ledger keeps; empty where nothing is paused. */
  public static Optional<PauseReason> of(@Nullable String kept) {
    return Arrays.stream(values())
        .filter(each -> kept != null && kept.startsWith(each.code + ": "))
        .findFirst();
  }
}
