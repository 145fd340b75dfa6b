// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import java.util.LinkedHashMap;
import java.util.Map;
import java.util.TreeMap;
import java.util.TreeSet;
import java.util.function.Predicate;
import java.util.regex.Matcher;
import java.util.regex.Pattern;

/**
 * What the page of numbers said, read by the grammar of the text format 0.0.4 and nothing of ours.
 */
record Scrape(Map<String, String> helps, Map<Sample, Double> samples) {
  private static final Pattern LINE =
      Pattern.compile("([a-zA-Z_:][a-zA-Z0-9_:]*)(?:\\{(.*)})? (\\S+)");
  private static final Pattern LABEL =
      Pattern.compile("([a-zA-Z_][a-zA-Z0-9_]*)=\"((?:[^\"\\\\]|\\\\.)*)\",?");

  /** One line. */
  record Sample(String name, Map<String, String> labels) {}

  static Scrape read(String text) {
    Map<String, String> helps = new LinkedHashMap<>();
    Map<Sample, Double> samples = new LinkedHashMap<>();
    for (String line : text.split("\n")) {
      if (line.startsWith("# HELP ")) {
        String[] words = line.split(" ", 4);
        helps.put(words[2], words[3]);
      } else if (!line.startsWith("# TYPE ")) {
        Matcher matcher = LINE.matcher(line);
        if (!matcher.matches()) {
          throw new AssertionError("no line of the format: " + line);
        }
        String labels = matcher.group(2) == null ? "" : matcher.group(2);
        Sample sample = new Sample(matcher.group(1), labels(labels));
        if (samples.put(sample, number(matcher.group(3))) != null) {
          throw new AssertionError("twice: " + line);
        }
      }
    }
    return new Scrape(helps, samples);
  }

  private static double number(String word) {
    return switch (word) {
      case "+Inf" -> Double.POSITIVE_INFINITY;
      case "NaN" -> Double.NaN;
      default -> Double.parseDouble(word);
    };
  }

  private static Map<String, String> labels(String text) {
    Map<String, String> labels = new TreeMap<>();
    Matcher matcher = LABEL.matcher(text);
    int at = 0;
    while (matcher.find() && matcher.start() == at) {
      labels.put(matcher.group(1), matcher.group(2));
      at = matcher.end();
    }
    if (at != text.length()) {
      throw new AssertionError("no labels: " + text);
    }
    return labels;
  }

  /** The sum of the samples of a name whose labels fit. */
  double sum(String name, Predicate<Map<String, String>> fits) {
    return samples.entrySet().stream()
        .filter(each -> each.getKey().name().equals(name) && fits.test(each.getKey().labels()))
        .mapToDouble(Map.Entry::getValue)
        .sum();
  }

  double sum(String name) {
    return sum(name, labels -> true);
  }

  TreeSet<String> names() {
    TreeSet<String> names = new TreeSet<>();
    samples.keySet().forEach(sample -> names.add(sample.name()));
    return names;
  }
}
