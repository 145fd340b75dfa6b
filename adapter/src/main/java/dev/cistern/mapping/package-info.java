/**
 * Reads mapping files, and decodes bytes (delimited, JSON, XML, HL7 v2, form) into named fields
 * that remember where they came from.
 */
@NullMarked
package dev.cistern.mapping;

import org.jspecify.annotations.NullMarked;
