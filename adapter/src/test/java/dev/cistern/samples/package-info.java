/**
 * Walks the samples folder: each case is run through the real pipeline and held against its files.
 */
@NullMarked
package dev.cistern.samples;

import org.jspecify.annotations.NullMarked;
