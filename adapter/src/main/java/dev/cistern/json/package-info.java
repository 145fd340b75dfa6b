/** Writes and reads scans and findings as JSON: one shape for the ledger, the commands and HTTP. */
@NullMarked
package dev.cistern.json;

import org.jspecify.annotations.NullMarked;
