/**
 * Carries requests to the FHIR server: says who we are, checks who it is, and bounds its answer.
 */
@NullMarked
package dev.cistern.wire;

import org.jspecify.annotations.NullMarked;
