// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static dev.cistern.mapping.DecodeReason.DOCUMENT_TOO_LARGE;

import java.util.ArrayList;
import java.util.Collections;
import java.util.HashMap;
import java.util.IdentityHashMap;
import java.util.List;
import java.util.Map;
import java.util.Set;
import org.jspecify.annotations.Nullable;
import org.w3c.dom.Element;
import org.w3c.dom.Node;

/**
 * The records of one XML document, taken out of it, so that an expression on one of them does not
 * walk through all the others. One is put back only while an expression may look anywhere.
 */
final class XmlRecords {
  /** How many parts may be walked through for what stands outside the records. */
  private static final long MOST_STEPS = 20_000_000;

  private final XmlSources sources;
  private final List<Element> records;
  private final Map<String, XmlReach> reaches = new HashMap<>();
  private final Map<String, Found> fixed = new HashMap<>();
  private final List<@Nullable Node> parents = new ArrayList<>();

  /** What follows each record and is no record. */
  private final List<@Nullable Node> anchors = new ArrayList<>();

  XmlRecords(Node document, XmlSources sources, List<Element> records, Set<String> expressions)
      throws DecodeFault {
    this.sources = sources;
    this.records = records;
    for (String expression : expressions) {
      XmlReach reach = XmlReach.of(expression);
      reaches.put(expression, reach);
      if (reach.kind() == XmlReach.Kind.FIXED) {
        fixed.put(expression, sources.find(document, expression));
      }
    }
    // From the end, so that what follows a record is never one that is taken out later.
    for (int i = records.size() - 1; i >= 0; i--) {
      Element record = records.get(i);
      Node parent = record.getParentNode();
      parents.add(parent);
      anchors.add(record.getNextSibling());
      if (parent != null) {
        parent.removeChild(record);
      }
    }
    Collections.reverse(parents);
    Collections.reverse(anchors);
    if (steps(document) > MOST_STEPS) {
      throw new DecodeFault(
          DOCUMENT_TOO_LARGE,
          "The XML document holds too much around its "
              + records.size()
              + " records to look through it for each of them.");
    }
  }

  private long steps(Node document) {
    long whole = parts(document);
    IdentityHashMap<Node, Long> around = new IdentityHashMap<>();
    long steps = 0;
    for (XmlReach reach : reaches.values()) {
      for (int i = 0; i < records.size(); i++) {
        Node ancestor = ancestor(i, reach.up());
        steps +=
            switch (reach.kind()) {
              case RECORD, FIXED -> 0;
              case ANYWHERE -> whole;
              case ANCESTOR ->
                  ancestor == null ? 0 : around.computeIfAbsent(ancestor, XmlRecords::parts);
            };
      }
    }
    return steps;
  }

  private static long parts(Node node) {
    long parts = 1;
    for (Node child = node.getFirstChild(); child != null; child = child.getNextSibling()) {
      parts += parts(child);
    }
    return parts;
  }

  private @Nullable Node ancestor(int index, int up) {
    Node ancestor = up == 0 ? null : parents.get(index);
    for (int i = 1; i < up && ancestor != null; i++) {
      ancestor = ancestor.getParentNode();
    }
    return ancestor;
  }

  int size() {
    return records.size();
  }

  Element record(int index) {
    return records.get(index);
  }

  Found find(int index, String source) {
    XmlReach reach = reaches.get(source);
    if (reach == null) {
      throw new IllegalArgumentException("not an expression of this mapping: " + source);
    }
    return switch (reach.kind()) {
      case RECORD -> sources.find(records.get(index), source);
      case FIXED -> fixed.getOrDefault(source, Found.NOTHING);
      case ANCESTOR -> alone(ancestor(index, reach.up()), reach.rest());
      case ANYWHERE -> inPlace(index, source);
    };
  }

  private Found alone(@Nullable Node ancestor, String rest) {
    if (ancestor == null) {
      return Found.NOTHING;
    }
    Node parent = ancestor.getParentNode();
    Node next = ancestor.getNextSibling();
    if (parent != null) {
      parent.removeChild(ancestor);
    }
    Found found = sources.find(ancestor, rest);
    if (parent != null) {
      parent.insertBefore(ancestor, next);
    }
    return found;
  }

  private Found inPlace(int index, String source) {
    Node parent = parents.get(index);
    if (parent != null) {
      parent.insertBefore(records.get(index), anchors.get(index));
    }
    Found found = sources.find(records.get(index), source);
    if (parent != null) {
      parent.removeChild(records.get(index));
    }
    return found;
  }
}
