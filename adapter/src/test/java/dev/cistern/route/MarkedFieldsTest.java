// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;
import static org.awaitility.Awaitility.await;

import ch.qos.logback.classic.Level;
import ch.qos.logback.classic.Logger;
import ch.qos.logback.classic.LoggerContext;
import ch.qos.logback.classic.spi.ILoggingEvent;
import ch.qos.logback.core.Appender;
import com.sun.net.httpserver.HttpServer;
import dev.cistern.alarm.Alarm;
import dev.cistern.config.Settings;
import dev.cistern.demo.server.SmallFhirServer;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Records;
import dev.cistern.plant.Plant;
import dev.cistern.scan.Field;
import dev.cistern.scan.FieldValue;
import dev.cistern.scan.Reading;
import dev.cistern.ship.HeadShipper;
import dev.cistern.testing.KeptLog;
import java.io.IOException;
import java.net.DatagramPacket;
import java.net.DatagramSocket;
import java.net.InetAddress;
import java.net.InetSocketAddress;
import java.net.URI;
import java.net.http.HttpClient;
import java.net.http.HttpRequest;
import java.net.http.HttpResponse;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.StandardCopyOption;
import java.time.Clock;
import java.time.Duration;
import java.time.ZoneOffset;
import java.util.ArrayList;
import java.util.Arrays;
import java.util.EnumMap;
import java.util.Iterator;
import java.util.List;
import java.util.Map;
import java.util.Queue;
import java.util.Set;
import java.util.TreeMap;
import java.util.TreeSet;
import java.util.concurrent.ConcurrentLinkedQueue;
import java.util.regex.MatchResult;
import java.util.regex.Pattern;
import java.util.stream.Collectors;
import java.util.stream.Stream;
import org.hl7.fhir.r4.model.DateType;
import org.hl7.fhir.r4.model.Patient;
import org.jspecify.annotations.Nullable;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;
import org.slf4j.LoggerFactory;

/**
 * Sends a result of which every field is marked through each way in, through success and each
 * failure, and looks for the marks in everything that leaves the ledger and is not for its readers:
 * logs of all libraries at their finest, ids, addresses, metrics, health, shipments, alarms, texts
 * of exceptions and of objects.
 */
class MarkedFieldsTest {
  private static final List<String> PARTS = List.of("f", "p", "h");

  /** Whoever typed a result is told what was found, with the numbers: never whose it is. */
  private static final Pattern NUMBERS_IN_WORDS =
      Pattern.compile("(?<=\"message\":\")[^\"Z]*(?=\")");

  private static final Set<Field> WHOSE =
      Set.of(Field.PATIENT_ID, Field.PATIENT_NAME, Field.BIRTH_DATE, Field.ENCOUNTER_ID);

  /** And what was not understood, as it was written: whoever is answered has sent it. */
  private static final Pattern QUOTED =
      Pattern.compile(
          Arrays.stream(Field.values())
              .filter(field -> !WHOSE.contains(field))
              .map(Field::key)
              .collect(Collectors.joining("|", "\\\\\"" + MarkedFields.MARK + "\\?(", ")\\\\\"")));

  private static final Duration PATIENCE = Duration.ofSeconds(60);

  private final MarkedFields marked = new MarkedFields();
  private final Map<String, String> told = new TreeMap<>();
  private final Queue<String> collected = new ConcurrentLinkedQueue<>();
  private final HttpClient http = HttpClient.newHttpClient();
  private final LoggerContext logging = (LoggerContext) LoggerFactory.getILoggerFactory();
  private final List<Appender<ILoggingEvent>> usual = new ArrayList<>();
  private final KeptLog keeping = new KeptLog();
  private final Queue<String> written = keeping.lines();

  @TempDir Path folder;

  @SuppressWarnings("NullAway.Init")
  private SmallFhirServer server;

  @SuppressWarnings("NullAway.Init")
  private EchoingServer echo;

  @SuppressWarnings("NullAway.Init")
  private HttpServer collector;

  @SuppressWarnings("NullAway.Init")
  private DatagramSocket syslog;

  @SuppressWarnings("NullAway.Init")
  private Plant plant;

  @SuppressWarnings("NullAway.Init")
  private Adapter adapter;

  private int port;

  /** Every library says all it has to say; only what the shipped file fixes stays fixed. */
  @BeforeEach
  void listen() {
    keeping.setContext(logging);
    keeping.start();
    Logger root = logging.getLogger(Logger.ROOT_LOGGER_NAME);
    for (Iterator<Appender<ILoggingEvent>> each = root.iteratorForAppenders(); each.hasNext(); ) {
      usual.add(each.next());
    }
    usual.forEach(root::detachAppender);
    root.addAppender(keeping);
    root.setLevel(Level.TRACE);
    logging.getLogger("dev.cistern").setLevel(Level.TRACE);
  }

  @AfterEach
  void quiet() {
    Logger root = logging.getLogger(Logger.ROOT_LOGGER_NAME);
    root.detachAppender(keeping);
    usual.forEach(root::addAppender);
    root.setLevel(Level.WARN);
    logging.getLogger("dev.cistern").setLevel(Level.INFO);
  }

  private void start() throws Exception {
    server = SmallFhirServer.start("127.0.0.1", 0, true, Clock.systemUTC());
    PARTS.forEach(part -> server.seed(patient(part)));
    echo = EchoingServer.before(server.base());
    collector = HttpServer.create(new InetSocketAddress("127.0.0.1", 0), 0);
    collector.createContext(
        "/",
        exchange -> {
          collected.add(
              exchange.getRequestURI()
                  + " "
                  + exchange.getRequestHeaders().entrySet()
                  + new String(exchange.getRequestBody().readAllBytes(), StandardCharsets.UTF_8));
          exchange.sendResponseHeaders(204, -1);
          exchange.close();
        });
    collector.start();
    syslog = new DatagramSocket(0, InetAddress.getLoopbackAddress());
    syslog.setSoTimeout((int) PATIENCE.toMillis());
    port = MllpTest.freePort();
    Path mappings = Files.createDirectories(folder.resolve("mappings"));
    Files.writeString(
        mappings.resolve("all-lines.yaml"),
        MarkedFields.mapping(
            "all-lines", "  format: delimited\n  delimiter: \";\"\n  zone: UTC", "%s", "volume"));
    Files.writeString(
        mappings.resolve("all-form.yaml"),
        MarkedFields.mapping("all-form", "  format: form\n  zone: UTC", "%s", "volume"));
    Files.writeString(
        mappings.resolve("all-hl7.yaml"),
        MarkedFields.mapping(
            "all-hl7",
            "  format: hl7v2\n  zone: UTC\n  records: { segment: OBX, where: { \"OBX-3.1\": [VOL] } }",
            "OBX[3.1=%s]-5",
            "OBX-5"));
    plant = Site.plant(folder, echo.base(), more());
    adapter = Adapter.start(plant);
  }

  private String more() {
    return """
          - { name: f, kind: folder, mapping: all-lines, path: "./in box/f", settleSeconds: 0 }
          - { name: p, kind: form, mapping: all-form }
          - { name: h, kind: mllp, mapping: all-hl7, port: %d }
        trail:
          ship:
            - { kind: file, path: "%s" }
            - { kind: webhook, url: "http://127.0.0.1:%d/heads", secret: "${STORE_PASSWORD}" }
            - { kind: syslog, host: 127.0.0.1, port: %d, transport: udp }
        """
        .formatted(
            port,
            folder.resolve("heads.jsonl"),
            collector.getAddress().getPort(),
            syslog.getLocalPort());
  }

  private Patient patient(String part) {
    Patient patient = new Patient();
    patient
        .addIdentifier()
        .setSystem(marked.value(Field.PATIENT_ID_SYSTEM, part))
        .setValue(marked.value(Field.PATIENT_ID, part));
    patient.addName().setText(marked.value(Field.PATIENT_NAME, part));
    patient.setBirthDateElement(new DateType(marked.value(Field.BIRTH_DATE, part)));
    patient.setGender(org.hl7.fhir.r4.model.Enumerations.AdministrativeGender.FEMALE);
    return patient;
  }

  /** The same result by each way in. */
  private void everywhere(String exam, Map<Field, String> changed, Set<Field> without)
      throws Exception {
    for (String part : PARTS) {
      Map<Field, String> values = marked.values(part, without);
      values.put(Field.EXAM_ID, MarkedFields.MARK + exam + part);
      values.putAll(changed);
      send(part, exam, values);
    }
  }

  private void send(String part, String exam, Map<Field, String> values) throws Exception {
    switch (part) {
      case "f" -> drop(MarkedFields.MARK + exam + ".csv", MarkedFields.lines(List.of(values)));
      case "p" -> post(MarkedFields.MARK + exam, MarkedFields.form(values));
      default -> {
        try (Sender sender = Sender.to(port)) {
          tell("acknowledged " + exam, sender.send(MarkedFields.message(values)));
        }
      }
    }
  }

  private void drop(String name, String text) throws Exception {
    Path writing = Files.writeString(folder.resolve("writing"), text);
    Path inbox = Files.createDirectories(folder.resolve("in box").resolve("f"));
    Files.move(writing, inbox.resolve(name), StandardCopyOption.ATOMIC_MOVE);
  }

  private void post(String key, String body) throws Exception {
    HttpRequest request =
        HttpRequest.newBuilder(URI.create(adapter.address() + "/forms/p"))
            .header("Content-Type", Site.TYPE)
            .header("Idempotency-Key", key)
            .POST(HttpRequest.BodyPublishers.ofString(body))
            .build();
    HttpResponse<String> answer = http.send(request, HttpResponse.BodyHandlers.ofString());
    tell("headers", answer.headers().map().toString());
    String words = QUOTED.matcher(answer.body()).replaceAll("_");
    tell("answered " + key.hashCode(), NUMBERS_IN_WORDS.matcher(words).replaceAll("_"));
  }

  private String get(String path) throws Exception {
    HttpRequest request = HttpRequest.newBuilder(URI.create(adapter.address() + path)).build();
    return http.send(request, HttpResponse.BodyHandlers.ofString()).body();
  }

  private void tell(String where, @Nullable String what) {
    told.merge(where, String.valueOf(what), (one, other) -> one + "\n" + other);
  }

  private List<Entry> entries() {
    List<Entry> entries = new ArrayList<>();
    for (long id = 1; ; id++) {
      Entry entry = plant.ledger().records().entry(id).orElse(null);
      if (entry == null) {
        return entries;
      }
      entries.add(entry);
    }
  }

  private int in(EntryState state) {
    return (int) entries().stream().filter(entry -> entry.state() == state).count();
  }

  private void settled() {
    await()
        .atMost(PATIENCE)
        .until(
            () ->
                isEmpty(folder.resolve("in box").resolve("f"))
                    && plant.ledger().records().openSubmissions() == 0
                    && in(EntryState.READY) + in(EntryState.WAITING) == 0);
  }

  /** The tests have a file of their own: it may fix only what the shipped one fixes too. */
  @Test
  void what_libraries_must_not_say_is_fixed_in_the_shipped_file() throws Exception {
    String shipped = Files.readString(Path.of("src/main/resources/logback.xml"));
    String here = Files.readString(Path.of("src/test/resources/logback-test.xml"));
    Pattern fixed = Pattern.compile("<logger name=\"[^\"]+\" level=\"(INFO|WARN|OFF)\"/>");
    List<String> lines = fixed.matcher(shipped).results().map(MatchResult::group).toList();
    assertThat(lines).hasSizeGreaterThan(3);
    assertThat(here).contains(lines);
    Set<String> onlyHere =
        new TreeSet<>(fixed.matcher(here).results().map(MatchResult::group).toList());
    lines.forEach(onlyHere::remove);
    assertThat(onlyHere)
        .as("loggers of servers that only tests start")
        .allMatch(
            line ->
                line.contains("hibernate")
                    || line.contains("spring")
                    || line.contains("ca.uhn.fhir.rest.server"));
  }

  private static boolean isEmpty(Path inbox) {
    try (Stream<Path> files = Files.list(inbox)) {
      return files.noneMatch(Files::isRegularFile);
    } catch (IOException e) {
      return false;
    }
  }

  @Test
  void no_mark_of_any_field_is_in_what_is_not_for_the_readers_of_results() throws Exception {
    start();
    try {
      succeed();
      breakEachField();
      breakTheBytes();
      beRefused();
      meetAnOutage();
      describe();
      shipAndAlarm();
      loseTheStore();
    } finally {
      adapter.close();
      plant.close();
      echo.close();
      server.close();
      collector.stop(0);
      syslog.close();
    }
    tell("addresses", String.join("\n", echo.addresses()));
    tell("collected", String.join("\n", collected));
    assertThat(written).hasSizeGreaterThan(1000);
    assertThat(written.stream().map(this::shown).filter(line -> line != null).distinct())
        .as("log lines")
        .isEmpty();
    assertThat(told).containsKeys("trail", "attempt", "metrics", "answered " + "cut".hashCode());
    told.forEach((where, what) -> assertThat(marked.trace(what)).as(where + ": " + what).isNull());
  }

  private @Nullable String shown(String line) {
    String trace = marked.trace(line);
    return trace == null ? null : trace + " in " + line.substring(0, Math.min(300, line.length()));
  }

  private void succeed() throws Exception {
    everywhere("W", Map.of(), MarkedFields.WITH_VOLUME);
    everywhere("A", Map.of(), MarkedFields.WITHOUT_VOLUME);
    settled();
    assertThat(entries())
        .as("each way in, with a volume and without one")
        .hasSize(2 * PARTS.size())
        .allMatch(entry -> entry.state() == EntryState.DELIVERED);
    for (Entry entry : entries()) {
      Map<Field, ?> asSent = java.util.Objects.requireNonNull(entry.scan()).asSent();
      assertThat(asSent.keySet())
          .as("every field was filled")
          .containsAll(
              marked
                  .values(
                      "",
                      asSent.containsKey(Field.VOLUME)
                          ? MarkedFields.WITH_VOLUME
                          : MarkedFields.WITHOUT_VOLUME)
                  .keySet());
      tell("location", entry.location());
    }
  }

  private void breakEachField() throws Exception {
    for (Field field : Field.values()) {
      Set<Field> without =
          field == Field.ABSENT_REASON ? MarkedFields.WITHOUT_VOLUME : MarkedFields.WITH_VOLUME;
      everywhere("B" + field.ordinal(), Map.of(field, "ZQMK?" + field.key()), without);
    }
    settled();
    assertThat(in(EntryState.REJECTED) + in(EntryState.RETURNED)).isGreaterThan(PARTS.size() * 5);
  }

  private void breakTheBytes() throws Exception {
    Map<Field, String> whole = marked.values("f", MarkedFields.WITH_VOLUME);
    String lines = MarkedFields.lines(List.of(whole));
    drop("cut.csv", lines.substring(0, lines.length() - 60));
    drop("quote.csv", lines.replace(MarkedFields.MARK + "note", "\"" + MarkedFields.MARK));
    drop("binary.csv", "\0\1\2" + lines);
    drop(MarkedFields.MARK + "columns.csv", lines.replace(";volume;", ";"));
    post("cut", "%zz&=" + MarkedFields.form(whole));
    try (Sender sender = Sender.to(port)) {
      tell("cut", sender.send(MarkedFields.message(whole).replace("OBX|1|", "OBX|")));
      tell("no head", sender.send("PID|" + MarkedFields.message(whole)));
    }
    settled();
  }

  private void beRefused() throws Exception {
    for (EchoingServer.Mode mode :
        List.of(EchoingServer.Mode.REFUSE, EchoingServer.Mode.REFUSE_AS_PAGE)) {
      int before = in(EntryState.REJECTED);
      echo.answering(mode);
      everywhere("R" + mode.ordinal(), Map.of(), MarkedFields.WITH_VOLUME);
      settled();
      assertThat(in(EntryState.REJECTED)).as(mode.name()).isEqualTo(before + PARTS.size());
    }
  }

  private void meetAnOutage() throws Exception {
    echo.answering(EchoingServer.Mode.BREAK);
    everywhere("E", Map.of(), MarkedFields.WITH_VOLUME);
    await()
        .atMost(PATIENCE)
        .until(
            () ->
                entries().stream()
                        .filter(entry -> entry.state() == EntryState.READY)
                        .filter(entry -> !plant.ledger().records().attempts(entry.id()).isEmpty())
                        .count()
                    == PARTS.size());
    echo.answering(EchoingServer.Mode.SHUT_OUT);
    everywhere("U", Map.of(), MarkedFields.WITH_VOLUME);
    await().atMost(PATIENCE).until(() -> plant.postbox().destination().reason() != null);
    tell("paused", plant.postbox().destination().reason());
    tell("ready while paused", get("/health/ready"));
    echo.answering(EchoingServer.Mode.PASS);
  }

  /** What objects and the plain part of the trail say of themselves. */
  private void describe() throws Exception {
    plant
        .ledger()
        .trail(
            null,
            null,
            event -> tell("trail", event + event.actor() + event.event() + event.detail()));
    for (Entry entry : entries()) {
      tell("key", entry.keyHash() + " " + entry.contentHash() + " " + entry.mapping());
      tell("entry", entry + " " + entry.place() + " " + entry.findings() + " " + entry.scan());
      tell("submission", plant.ledger().inbox().find(entry.submission()).toString());
      for (Records.Attempt attempt : plant.ledger().records().attempts(entry.id())) {
        tell("attempt", attempt.toString());
      }
      tell("state", get("/entries/" + entry.id()));
    }
    tell("raw entry", rawEntry());
    tell("metrics", get("/metrics"));
    tell("live", get("/health/live"));
    tell("ready", get("/health/ready"));
    for (String path : List.of("/entries/ZQMK", "/ZQMK", "/forms/ZQMK")) {
      get(path);
    }
  }

  private String rawEntry() {
    Map<Field, FieldValue> values = new EnumMap<>(Field.class);
    marked
        .values("", Set.of())
        .forEach(
            (field, text) ->
                values.put(field, FieldValue.amended(text, Reading.canonicalIn(ZoneOffset.UTC))));
    return "" + values.values();
  }

  private void shipAndAlarm() throws Exception {
    HeadShipper.of(plant.settings(), plant.ledger(), plant.clock()).shipNow();
    tell("shipped to a file", Files.readString(folder.resolve("heads.jsonl")));
    DatagramPacket packet = new DatagramPacket(new byte[4096], 4096);
    syslog.receive(packet);
    tell(
        "shipped to syslog",
        new String(packet.getData(), 0, packet.getLength(), StandardCharsets.UTF_8));
    assertThat(collected).anyMatch(post -> post.startsWith("/heads"));
    Alarm alarm =
        new Alarm(
            plant.ledger(),
            new Settings.Alarm(
                URI.create("http://127.0.0.1:" + collector.getAddress().getPort() + "/alarm"),
                Duration.ofHours(1)),
            "alder-vale-test",
            () -> 100,
            plant.clock());
    assertThat(alarm.look()).isTrue();
    assertThat(collected).anyMatch(post -> post.startsWith("/alarm"));
  }

  private void loseTheStore() throws Exception {
    plant.ledger().close();
    everywhere("L", Map.of(), MarkedFields.WITH_VOLUME);
    tell("ready without a store", get("/health/ready"));
    await()
        .atMost(PATIENCE)
        .until(
            () ->
                written.stream()
                    .anyMatch(line -> line.contains("a file of intake-f stays where it is")));
  }
}
