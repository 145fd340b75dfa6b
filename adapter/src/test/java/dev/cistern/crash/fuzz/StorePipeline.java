// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.fuzz;

import dev.cistern.intake.Intake;
import dev.cistern.ledger.Handover;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.Reconciliation;
import dev.cistern.mapping.Format;
import dev.cistern.refine.Feeds;
import dev.cistern.refine.FormDesk;
import dev.cistern.refine.Refinery;
import dev.cistern.refine.SubmissionRefiner;
import java.io.ByteArrayInputStream;
import java.io.IOException;
import java.nio.file.Path;
import java.time.Clock;
import java.time.Instant;
import java.time.ZoneOffset;
import java.util.List;
import java.util.TreeMap;
import java.util.stream.Collectors;
import org.jspecify.annotations.Nullable;

/** Takes inputs through a ledger as well: received, split, refined, filed. */
final class StorePipeline implements AutoCloseable {
  private static final String NODE = "node fuzz";
  private static final Clock CLOCK =
      Clock.fixed(Instant.parse("2026-03-15T12:00:00Z"), ZoneOffset.UTC);

  private final Ledger ledger;
  private final Intake intake;
  private final SubmissionRefiner refiner;
  private final FormDesk desk;
  private long inputs;

  StorePipeline(Path folder, List<Sample> samples, Refinery refinery) {
    ledger = Ledger.open(folder, CLOCK);
    intake = new Intake(ledger, NODE);
    Feeds feeds =
        new Feeds(
            samples.stream()
                .map(Sample::mapping)
                .distinct()
                .collect(Collectors.toMap(m -> m.name(), m -> m, (a, b) -> a, TreeMap::new)));
    refiner = new SubmissionRefiner(ledger, feeds, refinery, NODE, filed -> {});
    desk = new FormDesk(ledger, feeds, refinery, CLOCK, NODE);
  }

  long inputs() {
    return inputs;
  }

  /** What is wrong; null where nothing is. */
  @Nullable String fault(Sample input) {
    inputs++;
    String source = input.mapping().name();
    try {
      if (input.mapping().format() == Format.FORM) {
        desk.post(source, input.contentType(), null, input.bytes());
        return null;
      }
      Handover handover = new Handover(source, "folder", "fuzz", input.contentType(), null);
      long id = intake.receive(handover, new ByteArrayInputStream(input.bytes()));
      refiner.refine();
      String state = ledger.inbox().find(id).orElseThrow().state();
      boolean none = ledger.records().entriesOf(id, 0, 1).isEmpty();
      return state.equals("refined") && !none ? null : "its submission is " + state;
    } catch (IOException | RuntimeException | StackOverflowError e) {
      StackTraceElement[] trace = e.getStackTrace();
      return e.getClass().getName() + " at " + (trace.length == 0 ? "an unknown place" : trace[0]);
    }
  }

  /** Whether the ledger adds up after all of it. */
  boolean addsUp() {
    return new Reconciliation(ledger).prove(Reconciliation.Span.all(null)).holds();
  }

  @Override
  public void close() {
    ledger.close();
  }
}
