// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.history;

import java.time.Instant;
import java.util.Arrays;
import java.util.List;

/**
 * Something that a sender handed over, and what it was told.
 *
 * @param source the source's name in the settings
 * @param name the file's name, or the key of the post
 * @param bytes exactly what was handed over
 * @param meant its entries, in order
 * @param told what the sender knows of it in the end
 * @param toldAt when it was told so, by the adapter's clock; {@link Instant#MAX} where nobody knows
 * @param reason whether a refusal said why
 */
public record HandedOver(
    String source,
    String name,
    byte[] bytes,
    List<Meant> meant,
    Told told,
    Instant toldAt,
    boolean reason) {

  /** What the sender knows. */
  public enum Told {
    /** The file was moved, or the post was answered with 2xx. */
    KEPT,
    /** A post was answered with 422: it is on the record, and back with whoever typed it. */
    RETURNED,
    /** A post was answered otherwise: it was not kept. */
    NOT_KEPT,
    /** Nothing yet: the file lies where it was put, the post has no answer. */
    NOTHING,
    /** The file is neither where it was put nor where finished files are, or is another one now. */
    VANISHED
  }

  public HandedOver {
    bytes = bytes.clone();
    meant = List.copyOf(meant);
  }

  public boolean acknowledged() {
    return told == Told.KEPT || told == Told.RETURNED;
  }

  public HandedOver told(Told other) {
    return new HandedOver(source, name, bytes, meant, other, toldAt, reason);
  }

  /** For runs in which the clock cannot tell what came first. */
  public HandedOver withoutTime() {
    return new HandedOver(source, name, bytes, meant, told, Instant.MAX, reason);
  }

  @Override
  public boolean equals(Object other) {
    return other instanceof HandedOver that
        && source.equals(that.source)
        && name.equals(that.name)
        && told == that.told
        && Arrays.equals(bytes, that.bytes);
  }

  @Override
  public int hashCode() {
    return name.hashCode();
  }
}
