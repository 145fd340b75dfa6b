/**
 * The words that travel between the stages: fields as sent, the scan they mean, findings about it,
 * and the key by which a result is known.
 */
@NullMarked
package dev.cistern.scan;

import org.jspecify.annotations.NullMarked;
