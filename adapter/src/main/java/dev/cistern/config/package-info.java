/** All settings as nested records, read once, checked at start. */
@NullMarked
package dev.cistern.config;

import org.jspecify.annotations.NullMarked;
