/** Builds the parts from the settings, and starts and stops them. */
@NullMarked
package dev.cistern.plant;

import org.jspecify.annotations.NullMarked;
