// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static dev.cistern.mapping.DecodeReason.DOCUMENT_TOO_LARGE;
import static dev.cistern.mapping.DecodeReason.MALFORMED_XML;
import static dev.cistern.mapping.DecodeReason.NESTED_TOO_DEEP;
import static dev.cistern.mapping.DecodeReason.TRUNCATED_DOCUMENT;
import static dev.cistern.mapping.DecodeReason.XML_DOCUMENT_TYPE;

import java.io.IOException;
import java.io.StringReader;
import java.util.IdentityHashMap;
import javax.xml.XMLConstants;
import javax.xml.parsers.DocumentBuilderFactory;
import javax.xml.parsers.ParserConfigurationException;
import javax.xml.parsers.SAXParserFactory;
import org.jspecify.annotations.Nullable;
import org.w3c.dom.DOMException;
import org.w3c.dom.Document;
import org.w3c.dom.Element;
import org.w3c.dom.Node;
import org.xml.sax.Attributes;
import org.xml.sax.InputSource;
import org.xml.sax.Locator;
import org.xml.sax.SAXException;
import org.xml.sax.SAXParseException;
import org.xml.sax.XMLReader;
import org.xml.sax.helpers.DefaultHandler;

/**
 * Builds the tree of an XML document, counting as it goes. A document type is refused, and nothing
 * outside the document is ever read. The parser is the JDK's own, whatever else is on the class
 * path.
 */
final class XmlTree extends DefaultHandler {
  /**
   * Where an element stands in the text.
   *
   * @param end behind its end tag
   */
  record Span(int line, int start, int end) {}

  private static final String DISALLOW_DOCTYPE =
      "http://apache.org/xml/features/disallow-doctype-decl";

  private final String text;
  private final Limits limits;
  private final Document document;
  private final IdentityHashMap<Node, Span> spans = new IdentityHashMap<>();
  private final LineStarts starts;
  private @Nullable Locator locator;
  private Node open;
  private int depth;
  private int values;
  private @Nullable DecodeFault fault;

  private XmlTree(String text, Limits limits) throws ParserConfigurationException {
    this.text = text;
    this.limits = limits;
    this.starts = LineStarts.of(text);
    this.document =
        DocumentBuilderFactory.newDefaultNSInstance().newDocumentBuilder().newDocument();
    this.open = document;
  }

  static XmlTree of(String text, Limits limits) throws DecodeFault {
    try {
      XmlTree tree = new XmlTree(text, limits);
      tree.parse();
      return tree;
    } catch (ParserConfigurationException | IOException e) {
      throw new IllegalStateException("the JDK's XML parser cannot be set up", e);
    }
  }

  private void parse() throws ParserConfigurationException, IOException, DecodeFault {
    SAXParserFactory factory = SAXParserFactory.newDefaultNSInstance();
    try {
      factory.setFeature(XMLConstants.FEATURE_SECURE_PROCESSING, true);
      factory.setFeature(DISALLOW_DOCTYPE, true);
      factory.setFeature("http://xml.org/sax/features/external-general-entities", false);
      factory.setFeature("http://xml.org/sax/features/external-parameter-entities", false);
      XMLReader reader = factory.newSAXParser().getXMLReader();
      reader.setContentHandler(this);
      reader.setErrorHandler(this);
      reader.setEntityResolver((publicId, systemId) -> new InputSource(new StringReader("")));
      reader.parse(new InputSource(new StringReader(text)));
    } catch (SAXParseException e) {
      throw fault != null ? fault : malformed(e);
    } catch (SAXException e) {
      throw fault != null
          ? fault
          : new DecodeFault(MALFORMED_XML, "The XML document cannot be read.");
    }
  }

  private DecodeFault malformed(SAXParseException e) {
    if (open == document && document.getDocumentElement() == null && text.contains("<!DOCTYPE")) {
      return new DecodeFault(XML_DOCUMENT_TYPE, "The XML document declares a document type.");
    }
    String at = "line " + e.getLineNumber() + ", column " + e.getColumnNumber();
    return open != document && starts.position(e) >= text.stripTrailing().length()
        ? new DecodeFault(TRUNCATED_DOCUMENT, "The XML document ends before it is complete.")
        : new DecodeFault(MALFORMED_XML, "The XML document is malformed at " + at + ".");
  }

  Document document() {
    return document;
  }

  /** Where an element stands; null where that is not known. */
  @Nullable Span span(Node element) {
    return spans.get(element);
  }

  @Override
  public void setDocumentLocator(Locator given) {
    locator = given;
  }

  @Override
  public void startElement(String uri, String local, String qualified, Attributes attributes)
      throws SAXException {
    count(1 + attributes.getLength());
    if (++depth > limits.depth()) {
      refuse(NESTED_TOO_DEEP, "The XML document nests deeper than " + limits.depth() + " levels.");
    }
    Element element = element(uri, qualified, attributes);
    int behind = starts.position(locator);
    // Inside a start tag there is no other "<".
    int start = behind > 0 ? text.lastIndexOf('<', behind - 1) : -1;
    if (start >= 0) {
      spans.put(element, new Span(starts.line(start), start, behind));
    }
    open.appendChild(element);
    open = element;
  }

  private Element element(String uri, String qualified, Attributes attributes) throws SAXException {
    try {
      Element element = document.createElementNS(uri.isEmpty() ? null : uri, qualified);
      for (int i = 0; i < attributes.getLength(); i++) {
        String namespace = attributes.getURI(i);
        element.setAttributeNS(
            namespace.isEmpty() ? null : namespace, attributes.getQName(i), attributes.getValue(i));
      }
      return element;
    } catch (DOMException e) {
      // The parser lets through a few names that the tree does not take.
      refuse(MALFORMED_XML, "The XML document uses a namespace that cannot be used so.");
      throw new SAXException(e);
    }
  }

  @Override
  public void endElement(String uri, String local, String qualified) {
    Span span = spans.get(open);
    int end = starts.position(locator);
    if (span != null && end >= span.end()) {
      spans.put(open, new Span(span.line(), span.start(), end));
    }
    open = open.getParentNode();
    depth--;
  }

  @Override
  public void characters(char[] characters, int start, int length) throws SAXException {
    count(1);
    open.appendChild(document.createTextNode(new String(characters, start, length)));
  }

  @Override
  public void fatalError(SAXParseException e) throws SAXException {
    throw e;
  }

  private void count(int more) throws SAXException {
    values += more;
    if (values > limits.values()) {
      refuse(DOCUMENT_TOO_LARGE, "The XML document holds more than " + limits.values() + " parts.");
    }
  }

  private void refuse(DecodeReason reason, String message) throws SAXException {
    fault = new DecodeFault(reason, message);
    throw new SAXException(reason.code());
  }
}
