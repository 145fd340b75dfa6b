// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static dev.cistern.mapping.DecodeReason.STRUCTURED_VALUE;

import java.math.BigDecimal;
import java.util.ArrayList;
import java.util.HashMap;
import java.util.Iterator;
import java.util.List;
import java.util.Map;
import javax.xml.XMLConstants;
import javax.xml.namespace.NamespaceContext;
import javax.xml.xpath.XPath;
import javax.xml.xpath.XPathEvaluationResult;
import javax.xml.xpath.XPathExpression;
import javax.xml.xpath.XPathExpressionException;
import javax.xml.xpath.XPathFactory;
import javax.xml.xpath.XPathFactoryConfigurationException;
import javax.xml.xpath.XPathNodes;
import org.jspecify.annotations.Nullable;
import org.w3c.dom.Element;
import org.w3c.dom.Node;

/**
 * The XPath expressions of a mapping, for one submission: the JDK's expressions are not safe for
 * use by several threads. The factory is the JDK's own, whatever else is on the class path.
 */
final class XmlSources {
  private final XPath xpath;
  private final Map<String, XPathExpression> expressions = new HashMap<>();

  XmlSources(Map<String, String> namespaces) {
    XPathFactory factory = XPathFactory.newDefaultInstance();
    try {
      factory.setFeature(XMLConstants.FEATURE_SECURE_PROCESSING, true);
    } catch (XPathFactoryConfigurationException e) {
      throw new IllegalStateException("the JDK's XPath cannot be set up", e);
    }
    this.xpath = factory.newXPath();
    xpath.setNamespaceContext(new Prefixes(namespaces));
  }

  /** What is wrong with an expression, as a sentence; null where nothing is. */
  @Nullable String problem(String source) {
    try {
      compiled(source);
      return null;
    } catch (XPathExpressionException e) {
      return "\""
          + source
          + "\" is not an XPath expression, or a prefix in it is not in namespaces";
    }
  }

  private XPathExpression compiled(String source) throws XPathExpressionException {
    XPathExpression expression = expressions.get(source);
    if (expression == null) {
      expression = xpath.compile(source);
      expressions.put(source, expression);
    }
    return expression;
  }

  /** The elements that an expression selects, in the order of the document. */
  List<Element> elements(Node from, String source) {
    List<Element> elements = new ArrayList<>();
    if (evaluated(from, source).value() instanceof XPathNodes nodes) {
      nodes.forEach(
          n -> {
            if (n instanceof Element element) {
              elements.add(element);
            }
          });
    }
    return elements;
  }

  Found find(Node record, String source) {
    XPathEvaluationResult<?> result = evaluated(record, source);
    if (!(result.value() instanceof XPathNodes nodes)) {
      String text = plain(result.value());
      return text.isEmpty() ? Found.NOTHING : Found.text(text);
    }
    List<String> texts = new ArrayList<>();
    for (Node node : nodes) {
      if (node instanceof Element element && hasElements(element)) {
        return Found.unusable(
            STRUCTURED_VALUE, "At " + source + " there are XML elements, not a value.");
      }
      texts.add(node.getTextContent());
    }
    return Found.texts(texts);
  }

  /** XPath's numbers are binary fractions; what is none ("NaN") is nothing. */
  private static String plain(Object value) {
    if (!(value instanceof Double number)) {
      return String.valueOf(value);
    }
    return number.isNaN() || number.isInfinite()
        ? ""
        : new BigDecimal(number.toString()).stripTrailingZeros().toPlainString();
  }

  private static boolean hasElements(Element element) {
    for (Node child = element.getFirstChild(); child != null; child = child.getNextSibling()) {
      if (child instanceof Element) {
        return true;
      }
    }
    return false;
  }

  private XPathEvaluationResult<?> evaluated(Node from, String source) {
    try {
      return compiled(source).evaluateExpression(from);
    } catch (XPathExpressionException e) {
      throw new IllegalStateException(
          "an XPath expression that was checked cannot be evaluated", e);
    }
  }

  private record Prefixes(Map<String, String> namespaces) implements NamespaceContext {
    @Override
    public @Nullable String getNamespaceURI(String prefix) {
      return prefix.equals("xml") ? XMLConstants.XML_NS_URI : namespaces.get(prefix);
    }

    @Override
    public @Nullable String getPrefix(String uri) {
      return null;
    }

    @Override
    public Iterator<String> getPrefixes(String uri) {
      return List.<String>of().iterator();
    }
  }
}
