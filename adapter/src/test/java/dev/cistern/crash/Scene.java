// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash;

import static org.awaitility.Awaitility.await;

import dev.cistern.crash.history.HandedOver;
import dev.cistern.testing.FaultyFhirServer.Fault;
import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Duration;
import java.util.List;
import java.util.function.Supplier;

/** The adapter as a process, the server behind it, and the judgement in the end. */
final class Scene implements AutoCloseable {
  private static final Duration LONGEST_START = Duration.ofSeconds(120);

  private static final int KILLED = 128 + 9;

  final AdapterProcess adapter;
  final FhirRecord fhir;

  private Scene(AdapterProcess adapter, FhirRecord fhir) {
    this.adapter = adapter;
    this.fhir = fhir;
  }

  static Scene at(Path site, boolean updateCreate, Supplier<Fault> faults) throws IOException {
    FhirRecord fhir = FhirRecord.open(updateCreate, faults);
    return new Scene(AdapterProcess.at(site, fhir.base()), fhir);
  }

  void awaitReady() {
    await().atMost(LONGEST_START).until(adapter::readyOrFails);
  }

  /** The folder of the store. */
  Path data() {
    return adapter.site().resolve("data");
  }

  /** Tells it to end; whether it was killed while it did. */
  boolean diesClosing() throws InterruptedException {
    if (!adapter.stop()) {
      throw new AssertionError("SIGTERM does not end it");
    }
    return adapter.exitCode() == KILLED;
  }

  void awaitQuiet(Supplier<List<HandedOver>> history) {
    FhirRecord.awaitQuiet(data(), history);
  }

  Verdict judge(List<HandedOver> history) throws Exception {
    return judge(data(), history);
  }

  /**
   * @param data the folder of the store, where this process sees it under another path
   */
  Verdict judge(Path data, List<HandedOver> history) throws Exception {
    return Verdict.on(fhir.evidence(data, Files.readString(adapter.log()), history));
  }

  @Override
  public void close() throws InterruptedException {
    adapter.kill();
    fhir.close();
  }
}
