/**
 * Runs every check over a scan, under a policy that holds the site's own numbers, and returns
 * everything that was found.
 */
@NullMarked
package dev.cistern.check;

import org.jspecify.annotations.NullMarked;
