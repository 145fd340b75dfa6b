/** What tests of several packages need: real servers and rules. */
@NullMarked
package dev.cistern.testing;

import org.jspecify.annotations.NullMarked;
