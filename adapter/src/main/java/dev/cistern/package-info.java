/**
 * Cistern carries bladder volume results into the patient's record.
 *
 * <pre>
 * senders ─▶ intake ─▶ LEDGER ─▶ refine: mapping ▶ normalise ▶ check ─▶ LEDGER ─▶ delivery ─▶ FHIR server
 *            bytes     waiting           fields    scan        findings  ready    fhir bundle
 *                                                                        rejected ─▶ people: cli, console
 * </pre>
 *
 * The stages meet only in the ledger. This package builds the objects and starts them.
 */
@NullMarked
package dev.cistern;

import org.jspecify.annotations.NullMarked;
