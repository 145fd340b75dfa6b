/**
 * The Camel routes, readable as the drawing: intake per transport, refine, deliver, dead letter.
 */
@NullMarked
package dev.cistern.route;

import org.jspecify.annotations.NullMarked;
