/** Turns what a transport hands over into a submission and commits it before anyone is answered. */
@NullMarked
package dev.cistern.intake;

import org.jspecify.annotations.NullMarked;
