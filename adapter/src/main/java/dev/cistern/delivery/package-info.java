/** Sends ready entries to the FHIR server, classifies its answers, and schedules the next try. */
@NullMarked
package dev.cistern.delivery;

import org.jspecify.annotations.NullMarked;
