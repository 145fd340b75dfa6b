/** Shows the adapter at work: a day of the invented hospital group Alder Vale, in one process. */
@NullMarked
package dev.cistern.demo;

import org.jspecify.annotations.NullMarked;
