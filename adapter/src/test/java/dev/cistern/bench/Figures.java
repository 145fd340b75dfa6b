// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bench;

import java.io.IOException;
import java.io.PrintStream;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.List;
import java.util.Locale;

/** Figures as a table for people, and as bars. */
final class Figures {
  private static final int BAR = 26;
  private static final int WIDE = 420;

  private Figures() {}

  /** The first one is what the others are compared with. */
  static void print(List<Figure> figures, int results, PrintStream out) {
    out.println("| program | results/s | adapter is | CPU, s | peak memory, MB |");
    out.println("| --- | ---: | ---: | ---: | ---: |");
    double first = figures.get(0).seconds();
    for (Figure figure : figures) {
      out.printf(
          Locale.ROOT,
          "| %s | %,.0f | %.2f × | %.1f | %d |%n",
          figure.words(),
          results / figure.seconds(),
          figure.seconds() / first,
          figure.cpuSeconds(),
          figure.peakMegabytes());
    }
  }

  static void draw(List<Figure> figures, int results, Path file) throws IOException {
    double most = figures.stream().mapToDouble(f -> results / f.seconds()).max().orElse(1);
    StringBuilder svg =
        new StringBuilder(
            String.format(
                Locale.ROOT,
                "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 640 %d\""
                    + " font-family=\"sans-serif\" font-size=\"13\" role=\"img\">%n"
                    + "<title>Results a second</title>%n",
                figures.size() * BAR + 10));
    int y = 5;
    for (Figure figure : figures) {
      double rate = results / figure.seconds();
      svg.append(
          String.format(
              Locale.ROOT,
              "<text x=\"90\" y=\"%d\" text-anchor=\"end\">%s</text>"
                  + "<rect x=\"100\" y=\"%d\" width=\"%.1f\" height=\"18\" fill=\"%s\"/>"
                  + "<text x=\"%.1f\" y=\"%d\">%,.0f</text>%n",
              y + 14,
              figure.name(),
              y,
              rate / most * WIDE,
              figure.name().equals("adapter") ? "#176b60" : "#9aa5ab",
              106 + rate / most * WIDE,
              y + 14,
              rate));
      y += BAR;
    }
    Files.writeString(file, svg.append("</svg>\n"));
  }
}
