/**
 * Durable memory: submissions with their bytes, entries with their state, attempts, and the trail,
 * in plain SQL.
 */
@NullMarked
package dev.cistern.ledger;

import org.jspecify.annotations.NullMarked;
