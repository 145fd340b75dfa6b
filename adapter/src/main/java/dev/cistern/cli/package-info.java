/** The commands. Data goes to standard output, everything else to standard error. */
@NullMarked
package dev.cistern.cli;

import org.jspecify.annotations.NullMarked;
