// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import ca.uhn.hl7v2.DefaultHapiContext;
import ca.uhn.hl7v2.HL7Exception;
import ca.uhn.hl7v2.HapiContext;
import ca.uhn.hl7v2.model.GenericMessage;
import ca.uhn.hl7v2.model.GenericSegment;
import ca.uhn.hl7v2.model.Message;
import ca.uhn.hl7v2.model.Segment;
import ca.uhn.hl7v2.parser.EncodingCharacters;
import ca.uhn.hl7v2.parser.GenericModelClassFactory;
import ca.uhn.hl7v2.parser.ParserConfiguration;
import ca.uhn.hl7v2.parser.PipeParser;
import ca.uhn.hl7v2.util.idgenerator.InMemoryIDGenerator;
import ca.uhn.hl7v2.validation.impl.NoValidation;

/**
 * The separators of one message, and the HL7 v2 library that reads segments by them.
 *
 * <p>Segments are parsed one by one and only where they are needed: the library's time for a whole
 * message grows with the square of its segments. It never validates, because results with an odd
 * field elsewhere must arrive all the same.
 */
final class Hl7Syntax {
  /** The library's time for a field grows with the square of its parts. */
  private static final int MOST_PARTS = 4096;

  private static final GenericModelClassFactory MODELS = new GenericModelClassFactory();
  private static final HapiContext LIBRARY = library();

  /** A segment that the library cannot read. */
  static final class Unreadable extends RuntimeException {
    private static final long serialVersionUID = 1L;

    private final int line;

    Unreadable(int line) {
      super("line " + line, null, false, false);
      this.line = line;
    }

    int line() {
      return line;
    }
  }

  private final EncodingCharacters separators;
  private final PipeParser parser;
  private final Message message;

  private Hl7Syntax(EncodingCharacters separators) {
    this.separators = separators;
    this.parser = new PipeParser(LIBRARY);
    this.message = new GenericMessage.V25(MODELS);
    message.setParser(parser);
  }

  private static HapiContext library() {
    ParserConfiguration configuration = new ParserConfiguration();
    // The library's default writes a file into the working directory.
    configuration.setIdGenerator(new InMemoryIDGenerator());
    configuration.setAllowUnknownVersions(true);
    configuration.setValidating(false);
    return new DefaultHapiContext(configuration, new NoValidation(), MODELS);
  }

  /**
   * The separators that an MSH segment declares (HL7 v2.5.1, section 2.5.4).
   *
   * @throws DecodeFault where it declares none that can be told apart
   */
  static Hl7Syntax of(String msh) throws DecodeFault {
    int end = msh.length() > 3 ? msh.indexOf(msh.charAt(3), 4) : -1;
    String declared = end < 0 ? "" : msh.substring(3, end);
    boolean distinct = declared.chars().distinct().count() == declared.length();
    boolean printable = declared.chars().allMatch(c -> c > ' ' && !Character.isLetterOrDigit(c));
    if (declared.length() < 5 || declared.length() > 6 || !distinct || !printable) {
      throw new DecodeFault(
          DecodeReason.MALFORMED_HL7,
          "The message does not declare its separators in MSH-1 and MSH-2.");
    }
    return new Hl7Syntax(new EncodingCharacters(declared.charAt(0), declared.substring(1, 5)));
  }

  char fieldSeparator() {
    return separators.getFieldSeparator();
  }

  /** Whether a segment has no more parts than can be read in good time. */
  boolean readable(String segment) {
    int parts = 0;
    for (int i = 0; i < segment.length(); i++) {
      char c = segment.charAt(i);
      if (c == separators.getFieldSeparator()
          || c == separators.getComponentSeparator()
          || c == separators.getRepetitionSeparator()
          || c == separators.getSubcomponentSeparator()) {
        parts++;
      }
    }
    return parts <= MOST_PARTS;
  }

  PipeParser parser() {
    return parser;
  }

  /** A segment as text, by these separators. */
  String encode(Segment segment) {
    return PipeParser.encode(segment, separators);
  }

  Segment parse(String name, String text) throws HL7Exception {
    GenericSegment segment = new GenericSegment(message, name);
    parser.parse(segment, text, separators);
    return segment;
  }
}
