/**
 * Runs the pure stages in their order: mapping, normalise, check; for submissions, for forms while
 * the sender waits, and again for a person who replays or amends.
 */
@NullMarked
package dev.cistern.refine;

import org.jspecify.annotations.NullMarked;
