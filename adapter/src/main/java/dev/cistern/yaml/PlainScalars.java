// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.yaml;

import java.util.regex.Pattern;
import org.yaml.snakeyaml.nodes.Tag;
import org.yaml.snakeyaml.resolver.Resolver;

/**
 * What an unquoted scalar means: the core schema of YAML 1.2, not the rules of 1.1 that make a
 * boolean of {@code NO}, eight of {@code 010} and 750 of {@code 12:30}.
 *
 * <p>Numbers with leading zeros, underscores or more digits than anybody means stay text.
 */
final class PlainScalars extends Resolver {
  private static final Pattern NOTHING = Pattern.compile("~|null|Null|NULL|");
  private static final Pattern TRUTH = Pattern.compile("true|True|TRUE|false|False|FALSE");
  private static final Pattern WHOLE = Pattern.compile("[-+]?(0|[1-9][0-9]{0,17})");
  private static final Pattern DECIMAL = Pattern.compile("[-+]?(0|[1-9][0-9]{0,17})\\.[0-9]{1,17}");

  @Override
  protected void addImplicitResolvers() {
    addImplicitResolver(Tag.NULL, NOTHING, "~nN\0");
    addImplicitResolver(Tag.NULL, Pattern.compile("^$"), null);
    addImplicitResolver(Tag.BOOL, TRUTH, "tTfF");
    addImplicitResolver(Tag.INT, WHOLE, "-+0123456789");
    addImplicitResolver(Tag.FLOAT, DECIMAL, "-+0123456789");
  }
}
