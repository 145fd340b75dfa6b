/**
 * The form at the bedside: a mapping becomes questions, and what became of a post is said in words.
 */
@NullMarked
package dev.cistern.bedside;

import org.jspecify.annotations.NullMarked;
