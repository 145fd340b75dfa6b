// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bench;

import java.net.URI;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.LocalDateTime;
import java.time.ZoneId;
import java.util.ArrayList;
import java.util.List;
import java.util.Locale;
import java.util.concurrent.Callable;
import picocli.CommandLine;
import picocli.CommandLine.Command;
import picocli.CommandLine.Option;

/**
 * Measures the adapter from a file in a folder to the FHIR server's answer, and plain programs with
 * the same results beside it, one after the other in one run. {@code adapter/docs/speed.md} says
 * what the figures mean.
 */
@Command(name = "bench", mixinStandardHelpOptions = true, sortOptions = false)
final class Bench implements Callable<Integer> {
  @Option(names = "--results", defaultValue = "20000", description = "how many results count")
  int results;

  @Option(names = "--warm", defaultValue = "4000", description = "how many go ahead uncounted")
  int warm;

  @Option(names = "--devices", defaultValue = "50", description = "how many scanners")
  int devices;

  @Option(names = "--sources", defaultValue = "1", description = "how many folders, a file in each")
  int sources;

  @Option(names = "--workers", defaultValue = "4", description = "how many bundles at once")
  int workers;

  @Option(names = "--seed", defaultValue = "1", description = "other seed, other results")
  long seed;

  @Option(names = "--server", defaultValue = "counting", description = "counting or jpa")
  String server = "counting";

  @Option(
      names = "--beside",
      split = ",",
      defaultValue = "LOOP,POOLED,CAMEL,ENCODE,WIRE",
      description = "which plain programs; NONE for the adapter alone")
  List<String> beside = List.of();

  @Option(
      names = "--java",
      split = " ",
      defaultValue = "-Xmx256m -XX:+UseSerialGC",
      description = "of the adapter")
  List<String> javaOptions = List.of();

  @Option(names = "--under", split = " ", description = "a program that runs the adapter")
  List<String> under = List.of();

  @Option(names = "--forms", defaultValue = "0", description = "form posts a second, for 20 s")
  int forms;

  @Option(names = "--folder", defaultValue = "target/bench", description = "for files and figures")
  Path folder = Path.of("target/bench");

  private final List<Figure> figures = new ArrayList<>();

  public static void main(String[] arguments) {
    System.exit(new CommandLine(new Bench()).execute(arguments));
  }

  @Override
  public Integer call() throws Exception {
    Files.createDirectories(folder);
    LocalDateTime now = LocalDateTime.now(ZoneId.of("Europe/Vienna")).withNano(0);
    Path warming = folder.resolve("warm.csv");
    int all = warm + results;
    Rows rows = new Rows(seed, devices, now.minusHours(1));
    int held = rows.write(warming, 0, warm, all);
    List<Path> files = new ArrayList<>();
    for (int i = 0; i < sources; i++) {
      Path file = folder.resolve("day-" + (i + 1) + ".csv");
      held +=
          rows.write(file, warm + results * i / sources, warm + results * (i + 1) / sources, all);
      files.add(file);
    }
    adapter(warming, files, held);
    for (String kind : beside) {
      if (!kind.equals("NONE")) {
        rival(Rival.Kind.valueOf(kind.toUpperCase(Locale.ROOT)), warming, files.get(0));
      }
    }
    Figures.print(figures, results, System.out);
    Figures.draw(figures, results, folder.resolve("throughput.svg"));
    return 0;
  }

  private Child fhirServer() throws Exception {
    return server.equals("jpa")
        ? Child.java(RealServer.class, "-Xmx3g", List.of())
        : Child.java(CountingServer.class, "-Xmx1g", List.of());
  }

  private void adapter(Path warming, List<Path> files, int held) throws Exception {
    Path site = Files.createTempDirectory(folder, "site");
    try (Child fhir = fhirServer();
        AdapterRun adapter =
            AdapterRun.start(site, URI.create(fhir.line()), sources, workers, javaOptions, under)) {
      try (LedgerView ledger = new LedgerView(adapter.ledger())) {
        adapter.drop(warming, 1);
        await(ledger, warm);
        long before = ledger.lastEntry();
        long pid = adapter.pid();
        double cpu = Proc.cpuSeconds(pid);
        long written = Proc.writtenBytes(pid);
        double writes = adapter.number(WRITES);
        for (int i = 0; i < files.size(); i++) {
          adapter.drop(files.get(i), i + 1);
        }
        await(ledger, warm + results);
        long wrong = ledger.inState("rejected") - held;
        if (wrong != 0 || ledger.inState("delivered") != warm + results - held) {
          throw new IllegalStateException(wrong + " more results are held than should be");
        }
        double seconds = ledger.seconds(before);
        figures.add(
            new Figure(
                "adapter",
                "this adapter: store, checks, trail, patients looked up",
                seconds,
                Proc.cpuSeconds(pid) - cpu,
                Proc.peakMegabytes(pid)));
        System.out.printf(
            Locale.ROOT,
            "start to ready %.2f s; from receipt to delivery p50 %.2f s, p99 %.2f s; %.0f writes;"
                + " %d MB written; %d events on the trail; ledger %d MB%n",
            adapter.startSeconds(),
            ledger.within(0.5, before),
            ledger.within(0.99, before),
            adapter.number(WRITES) - writes,
            (Proc.writtenBytes(pid) - written) / 1_000_000,
            ledger.trail(),
            Files.size(adapter.ledger()) / 1_000_000);
        if (forms > 0) {
          pace(adapter);
        }
      }
    }
  }

  private void pace(AdapterRun adapter) throws Exception {
    FormPace posts = new FormPace(adapter.address("/forms/bedside"));
    posts.post(forms, WARM_SECONDS, 0);
    List<Double> took = posts.post(forms, PACE_SECONDS, forms * WARM_SECONDS);
    List<Double> bare = FormPace.bareCommits(folder);
    System.out.printf(
        Locale.ROOT,
        "form post to 201 at %d/s: p50 %.2f ms, p99 %.2f ms; one bare synced commit: p50 %.2f ms;"
            + " that is %.1f times and %.1f times%n",
        forms,
        FormPace.part(took, 0.5),
        FormPace.part(took, 0.99),
        FormPace.part(bare, 0.5),
        FormPace.part(took, 0.5) / FormPace.part(bare, 0.5),
        FormPace.part(took, 0.99) / FormPace.part(bare, 0.5));
  }

  private static final int WARM_SECONDS = 10;
  private static final int PACE_SECONDS = 20;
  private static final String WRITES = "cistern_store_writes_seconds_count";

  private static void await(LedgerView ledger, int entries) throws Exception {
    while (!ledger.isSettled(entries)) {
      Thread.sleep(100);
    }
  }

  private void rival(Rival.Kind kind, Path warming, Path file) throws Exception {
    try (Child fhir = fhirServer();
        Child rival =
            Child.java(
                Rival.class,
                "-Xmx1g",
                List.of(
                    kind.name(),
                    fhir.line(),
                    warming.toString(),
                    file.toString(),
                    Integer.toString(workers)))) {
      String[] said = rival.line().split(" ");
      figures.add(
          new Figure(
              kind.name().toLowerCase(Locale.ROOT),
              kind.words,
              Double.parseDouble(said[0]),
              Double.parseDouble(said[1]),
              Long.parseLong(said[2])));
    }
  }
}
