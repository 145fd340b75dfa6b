// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import ch.qos.logback.classic.Level;
import ch.qos.logback.classic.Logger;
import dev.cistern.demo.Demo;
import dev.cistern.demo.SampleCase;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Filing;
import dev.cistern.ledger.Reconciliation;
import dev.cistern.scan.Finding;
import java.io.IOException;
import java.net.URI;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.List;
import java.util.Map;
import java.util.TreeMap;
import java.util.concurrent.CountDownLatch;
import java.util.stream.Collectors;
import org.jspecify.annotations.Nullable;
import org.slf4j.LoggerFactory;
import picocli.CommandLine.Command;
import picocli.CommandLine.Option;

@Command(
    name = "demo",
    description = {
      "Shows the adapter at work, on a day of an invented hospital group.",
      "Starts a ledger and a small FHIR server in this process, hands over results as scanners and nurses would, and tells what becomes of them."
    },
    footer = {"", "Example:  cistern demo --exit"})
final class DemoCommand extends WithHelp {
  @Option(names = "--exit", description = "Ends when the samples are through.")
  private boolean exit;

  @Option(
      names = "--dir",
      paramLabel = "FOLDER",
      description = "Where its files go; a temporary folder else.")
  private @Nullable Path dir;

  @Option(
      names = "--server",
      paramLabel = "URL",
      description =
          "A FHIR server to use instead; it must know the patients of samples/patients.csv.")
  private @Nullable URI server;

  @Override
  public Integer call() throws IOException, InterruptedException {
    quieten();
    Path folder = dir == null ? Files.createTempDirectory("cistern-demo-").resolve("site") : dir;
    try (Demo demo = Demo.start(folder.toAbsolutePath(), server)) {
      boolean well = tell(demo);
      if (!exit) {
        out().println();
        out().println("It goes on running; drop files, post forms. Ctrl-C ends it.");
        new CountDownLatch(1).await();
      }
      return well ? Exit.DONE : Exit.NOT_ALL_WELL;
    }
  }

  private boolean tell(Demo demo) throws IOException, InterruptedException {
    title("1. The scanners of Alder Vale hand over their day");
    demo.feed();
    for (SampleCase sample : demo.cases()) {
      out().println("  %-16s %s".formatted(sample.source(), states(demo, sample)));
      wrapped(sample.title(), "      ");
    }
    List<String> surprises = demo.surprises(false);

    title("2. What could not go on by itself, and why (highest first)");
    for (Entry entry : demo.rejected()) {
      Finding reason = Demo.reason(entry).orElseThrow();
      String text = entry.volumeText();
      String volume = text == null ? "" : " (" + text + ")";
      out().println("  Entry " + entry.id() + ", " + entry.source() + volume);
      wrapped(reason.message(), "      ");
      wrapped("-> " + reason.next(), "      ");
    }

    title("3. People put some of it right, with a reason; the raw bytes stay as they are");
    for (Map.Entry<SampleCase, Filing.Filed> fixed : demo.fix().entrySet()) {
      SampleCase.Fix fix = java.util.Objects.requireNonNull(fixed.getKey().fix());
      long id = fixed.getValue().entry();
      String set =
          fix.set().entrySet().stream()
              .map(e -> e.getKey() + "=" + quoted(e.getValue()))
              .collect(Collectors.joining(" --set "));
      wrapped("cistern amend " + id + " --set " + set + " --why " + quoted(fix.why()), "  ");
      EntryState state = demo.plant().ledger().records().entry(id).orElseThrow().state();
      out().println("      entry " + id + " is " + state.code());
    }
    surprises.addAll(demo.surprises(true));

    title("4. The proof: everything received is in exactly one place");
    Reconciliation.Proof proof =
        new Reconciliation(demo.plant().ledger()).prove(Reconciliation.Span.all(null));
    AtTheServer server = AtTheServer.compare(demo.plant(), Reconciliation.Span.all(null), true);
    ReconcileCommand.print(proof, List.of(), server, out());

    title("5. Look for yourself");
    String config = " --config " + demo.settings();
    out().println("  FHIR server    " + demo.server() + "/Observation");
    out().println("  Console        " + demo.address() + "/");
    out()
        .println(
            "  An account     java -jar adapter/target/cistern.jar account add NAME --role operate"
                + " --role map --role audit"
                + config);
    out().println("  Bedside form   " + demo.address() + "/forms/bedside-form");
    out().println("  State          " + demo.address() + "/health/ready");
    out().println("  Folders        " + demo.settings().resolveSibling("inbox"));
    out().println("  The queue      java -jar adapter/target/cistern.jar rejected" + config);
    out().println("  One entry      java -jar adapter/target/cistern.jar show 1" + config);
    for (String surprise : surprises) {
      err().println("Not as expected: " + surprise);
    }
    return surprises.isEmpty() && proof.holds();
  }

  private static String states(Demo demo, SampleCase sample) {
    Map<String, Long> states = new TreeMap<>();
    demo.entries(sample).forEach(entry -> states.merge(entry.state().code(), 1L, Long::sum));
    return states.entrySet().stream()
        .map(e -> e.getValue() + " " + e.getKey())
        .collect(Collectors.joining(", "));
  }

  /** As a shell takes it for one word. */
  private static String quoted(String text) {
    return text.contains("'")
        ? "\"" + text.replaceAll("([\"\\\\$`])", "\\\\$1") + "\""
        : "'" + text + "'";
  }

  /** What starts and on which port says nothing to who wants to see the day. */
  private static void quieten() {
    for (String loud : List.of("org.eclipse.jetty", "org.apache.camel")) {
      if (LoggerFactory.getLogger(loud) instanceof Logger logger) {
        logger.setLevel(Level.WARN);
      }
    }
  }

  private void title(String text) {
    out().println();
    out().println(text);
  }

  private void wrapped(String text, String indent) {
    StringBuilder line = new StringBuilder(indent);
    for (String word : text.split(" ")) {
      if (line.length() + word.length() > 98) {
        out().println(line);
        line = new StringBuilder(indent).append("   ");
      }
      line.append(line.toString().isBlank() ? "" : " ").append(word);
    }
    out().println(line);
  }
}
