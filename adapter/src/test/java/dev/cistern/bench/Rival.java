// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bench;

import ca.uhn.fhir.context.FhirContext;
import ca.uhn.fhir.parser.IParser;
import ca.uhn.fhir.rest.client.api.IGenericClient;
import ca.uhn.fhir.rest.client.api.ServerValidationModeEnum;
import dev.cistern.fhir.FhirJson;
import java.io.IOException;
import java.net.URI;
import java.net.http.HttpClient;
import java.net.http.HttpRequest;
import java.net.http.HttpResponse;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.List;
import java.util.concurrent.ExecutorService;
import java.util.concurrent.Executors;
import java.util.concurrent.TimeUnit;
import java.util.concurrent.atomic.AtomicInteger;
import java.util.function.Consumer;
import org.hl7.fhir.r4.model.Bundle;

/**
 * A plain program beside the adapter, in a process of its own. It has no store, so that a crash
 * loses and doubles results, and no checks. Arguments: which, the server, a file for warming up,
 * the file that counts, how many at once. Prints the seconds from the first row to the last answer.
 */
final class Rival {

  /** Which one. */
  enum Kind {
    LOOP("HAPI FHIR's client in a loop, as its documentation shows it, one after the other"),
    POOLED("the same with a tuned, pooled HTTP client, several at once"),
    CAMEL("a Camel route that reads the file and posts each row"),
    ENCODE("limit: prepared resources encoded with HAPI FHIR and posted as bundles"),
    WIRE("limit: encoded bundles posted, nothing else");

    final String words;

    Kind(String words) {
      this.words = words;
    }
  }

  private final URI base;
  private final int workers;

  private Rival(URI base, int workers) {
    this.base = base;
    this.workers = workers;
  }

  public static void main(String[] arguments) throws Exception {
    Kind kind = Kind.valueOf(arguments[0]);
    Rival rival = new Rival(URI.create(arguments[1]), Integer.parseInt(arguments[4]));
    double seconds = 0;
    for (String file : List.of(arguments[2], arguments[3])) {
      seconds = rival.run(kind, Path.of(file)); // The first one only warms up.
    }
    System.out.printf(
        java.util.Locale.ROOT,
        "%.3f %.2f %d%n",
        seconds,
        Proc.cpuSeconds(ProcessHandle.current().pid()),
        Proc.peakMegabytes(ProcessHandle.current().pid()));
    System.exit(0);
  }

  private double run(Kind kind, Path file) throws Exception {
    return switch (kind) {
      case LOOP -> loop(file);
      case POOLED -> pooled(file);
      case CAMEL -> RivalRoute.run(base, file, workers);
      case ENCODE -> encode(file);
      case WIRE -> wire(file);
    };
  }

  static List<String> rows(Path file) throws IOException {
    return Files.readAllLines(file).stream().skip(1).filter(PlainObservation::isComplete).toList();
  }

  private double loop(Path file) throws IOException {
    List<String> rows = rows(file);
    IGenericClient client = FhirContext.forR4().newRestfulGenericClient(base.toString());
    long began = System.nanoTime();
    for (String row : rows) {
      client.create().resource(PlainObservation.of(row)).execute();
    }
    return since(began);
  }

  private double pooled(Path file) throws Exception {
    FhirContext context = FhirContext.forR4();
    context.getRestfulClientFactory().setServerValidationMode(ServerValidationModeEnum.NEVER);
    context.getRestfulClientFactory().setPoolMaxTotal(workers * 2);
    context.getRestfulClientFactory().setPoolMaxPerRoute(workers * 2);
    IGenericClient client = context.newRestfulGenericClient(base.toString());
    return atOnce(rows(file), row -> client.create().resource(PlainObservation.of(row)).execute());
  }

  private double encode(Path file) throws Exception {
    HttpClient http = http();
    List<Bundle> bundles = PreparedBundles.of(file);
    return atOnce(bundles, bundle -> post(http, encoded(bundle)));
  }

  /** By the library itself, not by the adapter's shorter way. */
  private static String encoded(Bundle bundle) {
    IParser parser = FhirJson.context().newJsonParser();
    parser.setOverrideResourceIdWithBundleEntryFullUrl(false);
    return parser.encodeResourceToString(bundle);
  }

  private double wire(Path file) throws Exception {
    HttpClient http = http();
    List<String> bodies = PreparedBundles.of(file).stream().map(FhirJson::encode).toList();
    return atOnce(bodies, body -> post(http, body));
  }

  private static HttpClient http() {
    return HttpClient.newBuilder().version(HttpClient.Version.HTTP_1_1).build();
  }

  private void post(HttpClient http, String body) {
    HttpRequest request =
        HttpRequest.newBuilder(base)
            .header("Content-Type", "application/fhir+json")
            .POST(HttpRequest.BodyPublishers.ofString(body))
            .build();
    try {
      int status = http.send(request, HttpResponse.BodyHandlers.ofString()).statusCode();
      if (status != 200) {
        throw new IllegalStateException("the server answers " + status);
      }
    } catch (IOException | InterruptedException e) {
      throw new IllegalStateException("the server did not answer", e);
    }
  }

  /** Does it for each, with all workers, and waits for the last. */
  private <T> double atOnce(List<T> all, Consumer<T> each) throws Exception {
    ExecutorService threads = Executors.newFixedThreadPool(workers);
    AtomicInteger next = new AtomicInteger();
    long began = System.nanoTime();
    List<java.util.concurrent.Future<?>> ends = new java.util.ArrayList<>();
    for (int worker = 0; worker < workers; worker++) {
      ends.add(
          threads.submit(
              () -> {
                int i;
                while ((i = next.getAndIncrement()) < all.size()) {
                  each.accept(all.get(i));
                }
              }));
    }
    for (java.util.concurrent.Future<?> end : ends) {
      end.get();
    }
    double seconds = since(began);
    threads.shutdown();
    if (!threads.awaitTermination(1, TimeUnit.MINUTES)) {
      throw new IllegalStateException("the workers do not end");
    }
    return seconds;
  }

  static double since(long began) {
    return (System.nanoTime() - began) / 1e9;
  }
}
