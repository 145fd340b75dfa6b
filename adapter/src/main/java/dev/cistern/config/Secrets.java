// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.config;

import java.io.IOException;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.Map;
import java.util.regex.Matcher;
import java.util.regex.Pattern;

/** Fills in {@code ${NAME}} from the environment and {@code ${file:/path}} from a file. */
final class Secrets {
  private static final Pattern PLACE = Pattern.compile("\\$\\{(file:)?([^}]+)}");

  private final Map<String, String> environment;
  private final Path folder;

  Secrets(Map<String, String> environment, Path folder) {
    this.environment = environment;
    this.folder = folder;
  }

  /** What is missing, in words. */
  static final class Missing extends Exception {
    private static final long serialVersionUID = 1L;

    Missing(String message) {
      super(message);
    }
  }

  static boolean isPlace(String text) {
    return PLACE.matcher(text).matches();
  }

  String fill(String text) throws Missing {
    Matcher matcher = PLACE.matcher(text);
    StringBuilder filled = new StringBuilder();
    while (matcher.find()) {
      String name = matcher.group(2);
      String value = matcher.group(1) == null ? fromEnvironment(name) : fromFile(name);
      matcher.appendReplacement(filled, Matcher.quoteReplacement(value));
    }
    return matcher.appendTail(filled).toString();
  }

  private String fromEnvironment(String name) throws Missing {
    String value = environment.get(name);
    if (value == null) {
      throw new Missing("the environment has no variable " + name + "; set it before the start");
    }
    return value;
  }

  private String fromFile(String name) throws Missing {
    try {
      return Files.readString(folder.resolve(name), StandardCharsets.UTF_8).strip();
    } catch (IOException e) {
      throw new Missing(
          "the file " + name + " cannot be read (" + e.getClass().getSimpleName() + ")");
    }
  }
}
