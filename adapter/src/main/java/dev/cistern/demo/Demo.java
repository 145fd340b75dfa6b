// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.demo;

import dev.cistern.config.Settings;
import dev.cistern.config.SettingsFile;
import dev.cistern.demo.server.SmallFhirServer;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Filing;
import dev.cistern.ledger.Queue;
import dev.cistern.ledger.Submission;
import dev.cistern.plant.Plant;
import dev.cistern.route.Adapter;
import dev.cistern.scan.CisternException;
import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Sha256;
import java.io.IOException;
import java.net.URI;
import java.net.http.HttpClient;
import java.net.http.HttpRequest;
import java.net.http.HttpResponse;
import java.nio.file.Path;
import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
import java.util.ArrayList;
import java.util.EnumMap;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import java.util.Optional;
import java.util.random.RandomGenerator;
import org.hl7.fhir.r4.model.Patient;
import org.jspecify.annotations.Nullable;

/** The day of Alder Vale: everything runs in this process and is real, but for the hospital. */
public final class Demo implements AutoCloseable {
  private static final Duration PATIENCE = Duration.ofSeconds(60);
  private static final String ACTOR = "user informatics nurse (demo)";

  private final DemoSite site;
  private final List<SampleCase> cases;
  private final @Nullable SmallFhirServer server;
  private final Plant plant;
  private final Adapter adapter;
  private final Map<SampleCase, Integer> formAnswers = new LinkedHashMap<>();

  private Demo(
      DemoSite site,
      List<SampleCase> cases,
      @Nullable SmallFhirServer server,
      Plant plant,
      Adapter adapter) {
    this.site = site;
    this.cases = cases;
    this.server = server;
    this.plant = plant;
    this.adapter = adapter;
  }

  /**
   * Starts everything.
   *
   * @param folder where settings, mappings, inboxes and ledger go
   * @param fhir a server to write to, which must know the sample patients; null starts a small one
   */
  public static Demo start(Path folder, @Nullable URI fhir) {
    List<SampleCase> cases =
        ShippedFiles.in("samples", SampleCase::readAll).stream().filter(SampleCase::demo).toList();
    List<Patient> patients =
        ShippedFiles.in("samples", samples -> DemoPatients.read(samples.resolve("patients.csv")));
    Clock clock = Clock.systemUTC();
    SmallFhirServer server =
        fhir == null ? SmallFhirServer.start("127.0.0.1", 0, true, clock) : null;
    if (server != null) {
      server.seed(patients.toArray(new Patient[0]));
    }
    URI base = server == null ? java.util.Objects.requireNonNull(fhir) : server.base();
    DemoSite site = DemoSite.make(folder, base);
    Settings settings = SettingsFile.read(site.settings(), Map.of());
    Plant plant = Plant.open(settings, clock, RandomGenerator.getDefault());
    return new Demo(site, cases, server, plant, Adapter.start(plant));
  }

  public List<SampleCase> cases() {
    return cases;
  }

  public Plant plant() {
    return plant;
  }

  public Path settings() {
    return site.settings();
  }

  /** Where forms are posted. */
  public String address() {
    return adapter.address();
  }

  public URI server() {
    return plant.settings().fhir().base();
  }

  /** Hands over every sample as its sender would: files into folders, forms by HTTP. */
  public void feed() throws IOException, InterruptedException {
    try {
      for (SampleCase sample : cases) {
        if (DemoSite.FOLDERS.contains(sample.source())) {
          site.drop(sample);
          // One after the other, so that every run tells the same story.
          await(() -> submission(sample).isPresent());
        } else {
          formAnswers.put(sample, post(sample));
        }
      }
    } finally {
      settle();
    }
  }

  private int post(SampleCase sample) throws IOException, InterruptedException {
    String type = sample.contentType();
    HttpRequest request =
        HttpRequest.newBuilder(URI.create(address() + "/forms/" + sample.source()))
            .header("Content-Type", type == null ? "application/x-www-form-urlencoded" : type)
            .header("Idempotency-Key", "demo-" + sample.name())
            .POST(HttpRequest.BodyPublishers.ofByteArray(sample.input()))
            .build();
    return HttpClient.newHttpClient()
        .send(request, HttpResponse.BodyHandlers.discarding())
        .statusCode();
  }

  /** The status with which a form post was answered. */
  public int formAnswer(SampleCase sample) {
    return java.util.Objects.requireNonNull(formAnswers.get(sample));
  }

  /** Waits until everything is where it stays. */
  public void settle() throws InterruptedException {
    await(
        () ->
            plant.ledger().records().openSubmissions() == 0
                && plant.ledger().records().oldest(EntryState.READY).isEmpty());
  }

  private interface Condition {
    boolean holds();
  }

  private void await(Condition condition) throws InterruptedException {
    Instant until = plant.clock().instant().plus(PATIENCE);
    while (!condition.holds()) {
      if (plant.clock().instant().isAfter(until)) {
        String why = plant.postbox().destination().reason();
        throw new CisternException(
            "The demo did not get on"
                + (why == null ? "." : ": " + why + ".")
                + " Look at its folder "
                + site.folder());
      }
      Thread.sleep(20);
    }
  }

  private Optional<Submission> submission(SampleCase sample) {
    return plant.ledger().records().submission(sample.source(), Sha256.hex(sample.input()));
  }

  /** The entries of a sample, as they are now. */
  public List<Entry> entries(SampleCase sample) {
    Submission submission =
        submission(sample)
            .orElseThrow(() -> new CisternException("The sample " + sample + " did not arrive."));
    return plant.ledger().records().entriesOf(submission.id(), 0, Integer.MAX_VALUE);
  }

  /** What a person puts right, sample by sample; returns what became of the entries. */
  public Map<SampleCase, Filing.Filed> fix() throws InterruptedException {
    Map<SampleCase, Filing.Filed> fixed = new LinkedHashMap<>();
    for (SampleCase sample : cases) {
      SampleCase.Fix fix = sample.fix();
      if (fix != null) {
        Entry entry = entries(sample).get(fix.entry() - 1);
        Map<Field, String> set = new EnumMap<>(Field.class);
        fix.set().forEach((key, value) -> set.put(Field.named(key).orElseThrow(), value));
        fixed.put(sample, plant.replay().replay(ACTOR, entry, set, fix.why()));
      }
    }
    settle();
    return fixed;
  }

  /** Entries that did not end as their sample says, in words; none when all is well. */
  public List<String> surprises(boolean afterFix) {
    List<String> surprises = new ArrayList<>();
    for (SampleCase sample : cases) {
      List<Entry> entries = entries(sample);
      if (entries.size() != sample.outcomes().size()) {
        surprises.add(
            sample + ": " + entries.size() + " entries, expected " + sample.outcomes().size());
        continue;
      }
      for (int i = 0; i < entries.size(); i++) {
        Entry entry = entries.get(i);
        String expected = expected(sample, i + 1, afterFix);
        boolean corrected =
            entry.state() == EntryState.SUPERSEDED && expected.equals(EntryState.DELIVERED.code());
        if (!entry.state().code().equals(expected) && !corrected) {
          surprises.add(
              sample
                  + " entry "
                  + (i + 1)
                  + ": "
                  + entry.state().code()
                  + ", expected "
                  + expected);
        }
      }
    }
    return surprises;
  }

  private static String expected(SampleCase sample, int entry, boolean afterFix) {
    SampleCase.Fix fix = sample.fix();
    if (afterFix && fix != null && fix.entry() == entry) {
      return EntryState.DELIVERED.code();
    }
    if (sample.delivery().containsKey(entry)) {
      return EntryState.REJECTED.code();
    }
    String outcome = sample.outcomes().get(entry - 1);
    boolean form = sample.source().equals(DemoSite.FORM);
    return switch (outcome) {
      case "ready" -> EntryState.DELIVERED.code();
      case "rejected" -> form ? EntryState.RETURNED.code() : outcome;
      default -> outcome;
    };
  }

  /** Rejected entries with their reasons, urgent first. */
  public List<Entry> rejected() {
    return plant.ledger().queue().page(Queue.Filter.ALL, Queue.Place.START, 100);
  }

  /** The first finding that rejects an entry. */
  public static Optional<Finding> reason(Entry entry) {
    return entry.findings().stream().filter(Finding::rejects).findFirst();
  }

  @Override
  public void close() {
    adapter.close();
    plant.close();
    if (server != null) {
      server.close();
    }
  }
}
