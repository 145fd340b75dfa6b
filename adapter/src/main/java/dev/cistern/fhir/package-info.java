/**
 * Turns a scan into FHIR R4 resources with stable identifiers, so that sending twice is harmless.
 */
@NullMarked
package dev.cistern.fhir;

import org.jspecify.annotations.NullMarked;
