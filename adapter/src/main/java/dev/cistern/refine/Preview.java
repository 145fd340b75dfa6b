// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.refine;

import dev.cistern.fhir.BundleBuilder;
import dev.cistern.fhir.FhirJson;
import dev.cistern.fhir.FhirSettings;
import dev.cistern.fhir.KnownDevices;
import dev.cistern.fhir.Outgoing;
import dev.cistern.fhir.PatientLink;
import dev.cistern.fhir.Release;
import dev.cistern.fhir.ResourceBuilder;
import dev.cistern.fhir.Token;
import dev.cistern.fhir.Write;
import dev.cistern.intake.Intake;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Handover;
import dev.cistern.ledger.Ledger;
import dev.cistern.ledger.Submission;
import dev.cistern.mapping.Format;
import dev.cistern.mapping.Mapping;
import dev.cistern.scan.CisternException;
import dev.cistern.scan.Derived;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Scan;
import java.io.IOException;
import java.io.InputStream;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Clock;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import java.util.function.Consumer;
import java.util.function.Supplier;
import java.util.stream.Stream;
import org.jspecify.annotations.Nullable;

/**
 * Shows what would become of files, in a throw-away ledger: the same code as in earnest, so that
 * what is shown is what would happen.
 */
public final class Preview implements AutoCloseable {
  private static final String SOURCE = "preview";
  private static final String ACTOR = "preview";
  private static final int PAGE = 500;

  private final Path folder;
  private final Ledger ledger;
  private final Mapping mapping;
  private final SubmissionRefiner refiner;
  private final FhirSettings fhir;
  private int number;
  private int posts;

  private Preview(
      Path folder, Ledger ledger, Mapping mapping, SubmissionRefiner refiner, FhirSettings fhir) {
    this.folder = folder;
    this.ledger = ledger;
    this.mapping = mapping;
    this.refiner = refiner;
    this.fhir = fhir;
  }

  /**
   * One entry.
   *
   * @param number from 1, over all files
   * @param outcome ready, rejected, superseded or duplicate
   * @param building makes what would be sent, when somebody asks for it
   */
  public record Shown(
      int number,
      String outcome,
      List<Finding> findings,
      Scan scan,
      Supplier<@Nullable String> building) {
    public Shown {
      findings = List.copyOf(findings);
    }

    /** What would be sent, as JSON; null for anything but a ready entry. */
    public @Nullable String bundle() {
      return building.get();
    }
  }

  /** With everything about the resources as shipped. */
  public static Preview open(
      Mapping mapping, Refinery refinery, String patientSystem, Clock clock) {
    return open(mapping, refinery, patientSystem, List.of(), clock);
  }

  /**
   * @param derived what is computed from a result and written beside it
   */
  public static Preview open(
      Mapping mapping,
      Refinery refinery,
      String patientSystem,
      List<Derived> derived,
      Clock clock) {
    return open(
        mapping,
        refinery,
        FhirSettings.shipped(SOURCE, "preview", patientSystem).deriving(derived),
        clock);
  }

  /** With everything about the resources as a site sets it. */
  public static Preview open(Mapping mapping, Refinery refinery, FhirSettings fhir, Clock clock) {
    try {
      Path folder = Files.createTempDirectory("cistern-preview");
      Ledger ledger = Ledger.open(folder, clock);
      Feeds feeds = new Feeds(Map.of(SOURCE, mapping));
      SubmissionRefiner refiner =
          new SubmissionRefiner(ledger, feeds, refinery, ACTOR, filed -> {});
      return new Preview(folder, ledger, mapping, refiner, fhir);
    } catch (IOException e) {
      throw new CisternException("A temporary folder cannot be made.", e);
    }
  }

  /** Shows a file's entries in their order. */
  public void show(Path file, @Nullable String contentType, Consumer<Shown> each)
      throws IOException {
    show(receive(file, contentType), each);
  }

  /** Takes a file in, and gives the number under which it is shown. */
  public long receive(Path file, @Nullable String contentType) throws IOException {
    Handover handover =
        new Handover(SOURCE, "file", String.valueOf(file.getFileName()), contentType, posted());
    try (InputStream bytes = Files.newInputStream(file)) {
      return new Intake(ledger, ACTOR).receive(handover, bytes);
    } catch (java.nio.file.NoSuchFileException e) {
      throw new CisternException("There is no file " + file + ".", e);
    }
  }

  /** Shows the entries of a file that was taken in, in their order. */
  public void show(long submission, Consumer<Shown> each) {
    refiner.refine();
    Submission received = ledger.inbox().find(submission).orElseThrow();
    List<Entry> page;
    int after = 0;
    do {
      page = ledger.records().entriesOf(submission, after, PAGE);
      for (Entry entry : page) {
        after = entry.place().ordinal();
        each.accept(shown(entry, received));
      }
    } while (page.size() == PAGE);
  }

  private Shown shown(Entry entry, Submission received) {
    number++;
    Scan scan = Objects.requireNonNull(entry.scan());
    return new Shown(
        number,
        entry.state().code(),
        entry.findings(),
        scan,
        () -> entry.state() == EntryState.READY ? bundle(entry, scan, received.sha256()) : null);
  }

  /** A form always comes under a key, of which an entry without an exam makes its identity. */
  private @Nullable String posted() {
    return mapping.format() == Format.FORM ? "preview-" + ++posts : null;
  }

  private String bundle(Entry entry, Scan scan, String sha256) {
    Token patient = Objects.requireNonNull(fhir.patientOf(scan.subject()));
    Release release =
        new Release(
            scan,
            Objects.requireNonNull(entry.key()),
            SOURCE,
            Objects.requireNonNullElse(entry.mapping(), ""),
            Objects.requireNonNullElse(entry.policy(), ""),
            sha256,
            Objects.requireNonNullElse(entry.acceptedAt(), entry.changedAt()),
            new PatientLink.Logical(patient.system(), patient.value()),
            entry.findings());
    BundleBuilder builder =
        new BundleBuilder(new ResourceBuilder(fhir), BundleBuilder.Mode.CREATE_ONCE);
    return FhirJson.encode(
        builder
            .transaction(
                List.of(Outgoing.anew(release, new Write.CreateOnce(), fhir.derived())),
                KnownDevices.NONE)
            .bundle());
  }

  @Override
  public void close() {
    ledger.close();
    try (Stream<Path> files = Files.walk(folder)) {
      files.sorted(java.util.Comparator.reverseOrder()).forEach(Preview::delete);
    } catch (IOException e) {
      throw new CisternException("The temporary folder " + folder + " cannot be removed.", e);
    }
  }

  private static void delete(Path file) {
    try {
      Files.deleteIfExists(file);
    } catch (IOException e) {
      throw new CisternException("The temporary file " + file + " cannot be removed.", e);
    }
  }
}
