/**
 * Reads YAML files into trees that remember line and column, and checks them against their schema.
 */
@NullMarked
package dev.cistern.yaml;

import org.jspecify.annotations.NullMarked;
