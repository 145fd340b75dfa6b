// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static dev.cistern.mapping.DecodeReason.EMPTY_SUBMISSION;
import static dev.cistern.mapping.DecodeReason.NO_ENTRIES;

import dev.cistern.scan.Place;
import dev.cistern.scan.RawEntry;
import java.io.IOException;
import java.io.InputStream;
import java.nio.charset.Charset;
import java.nio.charset.StandardCharsets;
import java.util.Collection;
import org.jspecify.annotations.Nullable;

/** Decodes delimited text: a header row, then one record a line. */
final class Delimited implements Decoder {
  private final TableLayout layout;
  private final Charset charset;
  private final boolean allowEmpty;
  private final Collection<FieldRule> rules;

  Delimited(Input input, Collection<FieldRule> rules) {
    this.layout = input.table();
    this.charset = input.charset() == null ? StandardCharsets.UTF_8 : input.charset();
    this.allowEmpty = input.allowEmpty();
    this.rules = rules;
  }

  @Override
  public EntryReader open(InputStream bytes, @Nullable String contentType, Limits limits)
      throws IOException {
    return new Reader(bytes, limits);
  }

  @Override
  public RawEntry readAt(ByteSource bytes, @Nullable String contentType, Place place, Limits limits)
      throws IOException {
    if (!place.hasBytes()) {
      return Replay.whole(open(bytes.open(), contentType, limits), place);
    }
    try (Reader start = new Reader(bytes.open(), limits)) {
      RawEntry refused = start.prepare();
      if (refused != null) {
        return new RawEntry(place, refused.fields(), refused.findings());
      }
      try (InputStream in = bytes.openAt(place.offset(), place.length())) {
        RecordFramer records = start.framer(in, place.offset(), Math.max(0, place.line() - 1));
        RawRecord record = records.next();
        if (record == null || record.isBlank() || records.next() != null) {
          return Replay.notFound(place);
        }
        return start.split().entry(place, record);
      }
    }
  }

  /** Reads one submission from its start. */
  private final class Reader implements EntryReader {
    private final Opened opened;
    private final Limits limits;
    private final RecordFramer records;
    private @Nullable RecordSplit split;
    private int ordinal;
    private boolean over;

    Reader(InputStream bytes, Limits limits) throws IOException {
      this.opened = Opened.of(bytes, charset);
      this.limits = limits;
      this.records = framer(opened.in(), opened.encoding().bom(), 0);
    }

    RecordFramer framer(InputStream from, long position, int lines) {
      LineFramer framed =
          new LineFramer(from, opened.encoding(), limits.recordBytes(), position, lines);
      return new RecordFramer(
          framed, opened.encoding(), layout.delimiter(), layout.multiline(), limits.recordBytes());
    }

    RecordSplit split() {
      if (split == null) {
        throw new IllegalStateException("the header has not been read");
      }
      return split;
    }

    /**
     * Reads up to the first record.
     *
     * @return what stands for the whole submission where that fails; else null
     */
    @Nullable RawEntry prepare() throws IOException {
      String binary = Binary.kind(opened.head(), opened.encoding());
      if (binary != null) {
        return Replay.refused(DecodeReason.BINARY_CONTENT.found(binary));
      }
      for (int i = 0; i < layout.skip(); i++) {
        records.next();
      }
      if (!layout.header()) {
        split = new RecordSplit(layout, rules, limits, Columns.numbered(layout.columns(), rules));
        return null;
      }
      RawRecord header = records.next();
      while (header != null && header.isBlank()) {
        header = records.next();
      }
      if (header == null) {
        return Replay.refused(
            opened.head().length == 0
                ? EMPTY_SUBMISSION.found("The submission is empty.")
                : EMPTY_SUBMISSION.found("The submission holds nothing but blank lines."));
      }
      split = RecordSplit.under(header, layout, rules, limits);
      return split.refused();
    }

    @Override
    public @Nullable RawEntry next() throws IOException {
      if (over) {
        return null;
      }
      if (split == null) {
        RawEntry refused = prepare();
        if (refused != null) {
          over = true;
          return refused;
        }
      }
      RawRecord record = records.next();
      while (record != null && split().passesOver(record)) {
        record = records.next();
      }
      if (record != null) {
        return split().entry(record.place(++ordinal), record);
      }
      over = true;
      return ordinal > 0 || allowEmpty ? null : Replay.refused(nothing());
    }

    private dev.cistern.scan.Finding nothing() {
      return opened.head().length == 0
          ? EMPTY_SUBMISSION.found("The submission is empty.")
          : NO_ENTRIES.found("There is a header row, and no result below it.");
    }

    @Override
    public void close() throws IOException {
      opened.in().close();
    }
  }
}
