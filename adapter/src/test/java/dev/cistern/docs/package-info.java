/** Holds the pages of the documentation against the program. */
@NullMarked
package dev.cistern.docs;

import org.jspecify.annotations.NullMarked;
