// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import dev.cistern.scan.Fields;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Place;
import dev.cistern.scan.RawEntry;
import java.io.IOException;
import java.util.List;

/** Finds an entry again in a submission that is decoded once more. */
final class Replay {
  private Replay() {}

  /** The entry that stands for a whole submission, because nothing in it could be decoded. */
  static RawEntry refused(Finding why) {
    return new RawEntry(Place.ordinal(1), Fields.NONE, List.of(why));
  }

  static RawEntry notFound(Place place) {
    return new RawEntry(
        place,
        Fields.NONE,
        List.of(
            DecodeReason.ENTRY_NOT_FOUND.found(
                "With today's mapping this part of the submission is not exactly one result.")));
  }

  /** For an entry that stands for its whole submission: the only one that is found in it now. */
  static RawEntry whole(EntryReader entries, Place place) throws IOException {
    try (entries) {
      RawEntry first = entries.next();
      return first == null || entries.next() != null
          ? notFound(place)
          : new RawEntry(place, first.fields(), first.findings());
    }
  }

  /**
   * The one entry that lies within a place. It is looked for by its bytes and not by its number,
   * because another mapping may find more or fewer entries before it.
   */
  static RawEntry within(EntryReader entries, Place place) throws IOException {
    if (!place.hasBytes()) {
      return whole(entries, place);
    }
    long end = place.offset() + place.length();
    try (entries) {
      RawEntry match = null;
      for (RawEntry e = entries.next(); e != null; e = entries.next()) {
        Place other = e.place();
        if (!other.hasBytes()) {
          match = match == null ? e : match;
        } else if (other.offset() == place.offset() && other.length() == place.length()) {
          return new RawEntry(place, e.fields(), e.findings());
        } else if (other.offset() >= place.offset() && other.offset() < end) {
          if (match != null) {
            return notFound(place);
          }
          match = e;
        }
      }
      return match == null
          ? notFound(place)
          : new RawEntry(place, match.fields(), match.findings());
    }
  }
}
