/** A small FHIR server in memory for the demo: it does little, and exactly what it says it does. */
@NullMarked
package dev.cistern.demo.server;

import org.jspecify.annotations.NullMarked;
