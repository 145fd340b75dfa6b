/** The adapter as a process of its own, killed while it works. */
@NullMarked
package dev.cistern.crash;

import org.jspecify.annotations.NullMarked;
