// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static dev.cistern.mapping.DecodeReason.NO_ENTRIES;

import dev.cistern.scan.Place;
import dev.cistern.scan.RawEntry;
import java.io.IOException;
import java.io.InputStream;
import java.nio.charset.Charset;
import java.nio.charset.IllegalCharsetNameException;
import java.nio.charset.StandardCharsets;
import java.nio.charset.UnsupportedCharsetException;
import java.util.Collection;
import java.util.List;
import java.util.Map;
import java.util.Set;
import java.util.regex.Matcher;
import java.util.regex.Pattern;
import java.util.stream.Collectors;
import org.jspecify.annotations.Nullable;
import org.w3c.dom.Element;

/** Decodes XML: one document with any number of records. */
final class XmlDocuments implements Decoder {
  private static final Pattern DECLARED =
      Pattern.compile("^<\\?xml[^>]*\\sencoding\\s*=\\s*[\"']([A-Za-z0-9._-]+)[\"']");

  private final @Nullable Charset charset;
  private final boolean allowEmpty;
  private final String records;
  private final Map<String, String> namespaces;
  private final Collection<FieldRule> rules;
  private final Set<String> expressions;

  XmlDocuments(Input input, Collection<FieldRule> rules) {
    String path = input.selection().path();
    this.charset = input.charset();
    this.allowEmpty = input.allowEmpty();
    this.records = path == null ? "/*" : path;
    this.namespaces = input.selection().namespaces();
    this.rules = rules;
    this.expressions =
        rules.stream().flatMap(r -> Columns.sources(r).stream()).collect(Collectors.toSet());
  }

  @Override
  public EntryReader open(InputStream bytes, @Nullable String contentType, Limits limits) {
    return new DocumentReader(
        bytes,
        () -> {
          TextDocument document = TextDocument.read(bytes, this::charsetOf, limits.documentBytes());
          return entries(document, XmlTree.of(document.text(), limits));
        });
  }

  /** What the mapping says, else what the document declares, else UTF-8. */
  private Charset charsetOf(byte[] head) {
    if (charset != null) {
      return charset;
    } else if (Encoding.startsWith(head, 0, '<') || Encoding.startsWith(head, '<', 0)) {
      return head[0] == 0 ? StandardCharsets.UTF_16BE : StandardCharsets.UTF_16LE;
    }
    Matcher declared = DECLARED.matcher(new String(head, StandardCharsets.ISO_8859_1));
    try {
      return declared.find() ? Charset.forName(declared.group(1)) : StandardCharsets.UTF_8;
    } catch (IllegalCharsetNameException | UnsupportedCharsetException e) {
      return StandardCharsets.UTF_8;
    }
  }

  private DocumentReader.Entries entries(TextDocument document, XmlTree tree) throws DecodeFault {
    XmlSources sources = new XmlSources(namespaces);
    List<Element> found = sources.elements(tree.document(), records);
    if (found.isEmpty() && !allowEmpty) {
      throw new DecodeFault(NO_ENTRIES, "The XML document has no element at " + records + ".");
    }
    XmlRecords taken = new XmlRecords(tree.document(), sources, found, expressions);
    return new DocumentReader.Entries() {
      @Override
      public int count() {
        return taken.size();
      }

      @Override
      public RawEntry entry(int index) {
        XmlTree.Span span = tree.span(taken.record(index));
        Place place =
            span == null
                ? document.nowhere(index + 1)
                : document.place(index + 1, span.line(), span.start(), span.end());
        String path = taken.size() == 1 ? records : "(" + records + ")[" + (index + 1) + "]";
        return FieldFill.entry(place, rules, new XmlRow(taken, index, path), List.of());
      }
    };
  }

  @Override
  public RawEntry readAt(ByteSource bytes, @Nullable String contentType, Place place, Limits limits)
      throws IOException {
    return Replay.within(open(bytes.open(), contentType, limits), place);
  }
}
