/**
 * Turns named fields into a scan: numbers, units, times, codes and identifiers, each read exactly
 * or refused with a reason, never guessed.
 */
@NullMarked
package dev.cistern.normalise;

import org.jspecify.annotations.NullMarked;
