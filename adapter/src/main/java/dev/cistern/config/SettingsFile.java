// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.config;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.scan.CisternException;
import dev.cistern.scan.Coded;
import dev.cistern.scan.Derived;
import dev.cistern.scan.Field;
import dev.cistern.yaml.Problem;
import dev.cistern.yaml.YamlFile;
import dev.cistern.yaml.YamlProblems;
import java.net.URI;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.DateTimeException;
import java.time.Duration;
import java.time.ZoneId;
import java.util.ArrayList;
import java.util.EnumSet;
import java.util.HashSet;
import java.util.List;
import java.util.Locale;
import java.util.Map;
import java.util.Set;
import java.util.TreeSet;
import java.util.function.Supplier;
import java.util.stream.Collectors;
import org.jspecify.annotations.Nullable;

/** Reads {@code cistern.yaml}. */
public final class SettingsFile {
  private static final String SCHEMA = "schema/cistern.schema.json";
  private static final Map<String, List<String>> KEYS_OF_KIND =
      Map.of(
          "folder",
          List.of("path", "pattern", "recursive", "settleSeconds", "pollSeconds", "done"),
          "sftp",
          List.of("path", "pattern", "settleSeconds", "pollSeconds", "done", "server"),
          "form",
          List.of("unfold"),
          "kafka",
          List.of("topic", "group", "largestRecord", "broker", "relayed"),
          "mllp",
          List.of(
              "port",
              "bind",
              "connections",
              "largestMessage",
              "idleSeconds",
              "acknowledge",
              "tls"));

  private final Path file;
  private final Path folder;
  private final YamlFile yaml;
  private final Secrets secrets;
  private final List<Problem> problems = new ArrayList<>();

  private SettingsFile(Path file, YamlFile yaml, Map<String, String> environment) {
    this.file = file.toAbsolutePath().normalize();
    this.folder = java.util.Objects.requireNonNull(this.file.getParent());
    this.yaml = yaml;
    this.secrets = new Secrets(environment, folder);
  }

  /**
   * Reads the settings.
   *
   * @param environment what {@code ${NAME}} is filled from
   * @throws YamlProblems with every problem that the file has
   * @throws CisternException where it cannot be read
   */
  public static Settings read(Path file, Map<String, String> environment) {
    YamlFile yaml = YamlFile.read(file);
    yaml.require(SCHEMA);
    SettingsFile reading = new SettingsFile(file, yaml, environment);
    Settings settings = reading.settings();
    if (!reading.problems.isEmpty()) {
      throw new YamlProblems(reading.problems);
    }
    return settings;
  }

  private Settings settings() {
    return new Settings(
        file,
        text("/node", ""),
        path("/data", "./data"),
        store(),
        path("/mappings", "./mappings"),
        beside("/codes", Settings.CODES),
        beside("/policy", Settings.POLICY),
        new Settings.Http(
            text("/http/bind", "127.0.0.1"),
            number("/http/port", 8085),
            number("/http/largestForm", 262_144),
            has("/http/tls") ? keyFile("/http/tls/keystore", "/http/tls/password") : null),
        access(),
        console(),
        alarm(),
        fhir(),
        patient(),
        new Settings.Retention(
            optionalNumber("/retention/rawDays"), optionalNumber("/retention/patientDataDays")),
        new TrailSettings(this).trail(),
        has("/publish") ? new TopicSettings(this, "/publish").topic() : null,
        sources());
  }

  private Settings.@Nullable Shared store() {
    if (!has("/store")) {
      return null;
    }
    String url = required("/store/url", "a store needs the address of its database");
    if (!url.startsWith("jdbc:postgresql:")) {
      problem("/store/url", "write jdbc:postgresql://host:port/database");
    } else if (url.contains("password=")) {
      problem("/store/url", "the password belongs into store.password");
    }
    boolean secret = has("/store/password");
    if (secret) {
      secret("/store/password", "this needs the password");
    }
    Supplier<String> password = again("/store/password");
    return new Settings.Shared(url, optional("/store/user"), () -> secret ? password.get() : null);
  }

  private Settings.Alarm alarm() {
    String url = optional("/alarm/url");
    Duration repeat = Duration.ofMinutes(number("/alarm/repeatMinutes", 60));
    try {
      URI uri = url == null ? null : URI.create(url);
      if (uri != null && uri.getHost() == null) {
        problem("/alarm/url", "the address has no host");
      }
      return new Settings.Alarm(uri, repeat);
    } catch (IllegalArgumentException e) {
      problem("/alarm/url", "this is not an address");
      return Settings.Alarm.NONE;
    }
  }

  private Settings.Access access() {
    return new Settings.Access(
        text("/access/forms", "open").equals("asked"),
        Duration.ofMinutes(number("/access/idleMinutes", 20)),
        Duration.ofHours(number("/access/longestHours", 12)),
        yaml.tree().at("/access/proxy").asBoolean(false),
        new SignOnSettings(this).signOn());
  }

  private Settings.Console console() {
    ZoneId zone = Settings.Console.SHIPPED.zone();
    String name = optional("/console/zone");
    try {
      zone = name == null ? zone : ZoneId.of(name);
    } catch (DateTimeException e) {
      problem("/console/zone", "there is no such zone; write a name such as Europe/Vienna");
    }
    return new Settings.Console(zone, Duration.ofDays(number("/console/silentDays", 2)));
  }

  private Settings.Fhir fhir() {
    String base = text("/fhir/base", "");
    URI uri = URI.create("http://invalid.example");
    try {
      uri = URI.create(base.endsWith("/") ? base.substring(0, base.length() - 1) : base);
      if (uri.getHost() == null) {
        problem("/fhir/base", "the address has no host");
      }
    } catch (IllegalArgumentException e) {
      problem("/fhir/base", "this is not an address");
    }
    AccessSettings access = new AccessSettings(this);
    return new Settings.Fhir(
        uri,
        Settings.Mode.read(text("/fhir/mode", "auto")),
        number("/fhir/bundle", 20),
        number("/fhir/workers", 4),
        Duration.ofSeconds(number("/fhir/timeoutSeconds", 60)),
        number("/fhir/largestAnswer", 16_777_216),
        text("/fhir/system", "urn:cistern"),
        yaml.tree().at("/fhir/snomed").asBoolean(true),
        derived(),
        access.auth(),
        access.tls());
  }

  /** A secret's file may be replaced while we run, so it is read for each use. */
  Supplier<String> again(String pointer) {
    String place = yaml.tree().at(pointer).asText("");
    return () -> {
      try {
        return secrets.fill(place);
      } catch (Secrets.Missing e) {
        throw new CisternException(
            pointer.substring(1).replace('/', '.') + ": " + e.getMessage(), e);
      }
    };
  }

  private List<Derived> derived() {
    Set<Derived> kinds = EnumSet.noneOf(Derived.class);
    for (JsonNode word : yaml.tree().at("/fhir/derived")) {
      Coded.of(Derived.class, word.asText()).ifPresent(kinds::add);
    }
    return List.copyOf(kinds);
  }

  private Settings.Patient patient() {
    return new Settings.Patient(
        text("/patient/system", ""),
        Settings.Reference.valueOf(text("/patient/reference", "lookup").toUpperCase(Locale.ROOT)),
        text("/patient/checkDigit", "none"),
        optional("/patient/encounterSystem"),
        optional("/patient/operatorSystem"));
  }

  private List<Settings.Source> sources() {
    List<Settings.Source> sources = new ArrayList<>();
    Set<String> names = new HashSet<>();
    JsonNode nodes = yaml.tree().path("sources");
    for (int i = 0; i < nodes.size(); i++) {
      String at = "/sources/" + i;
      onlyOnce(at + "/name", names);
      Settings.Source source = source(at);
      sources.add(source);
      for (int j = 0; j < count(at + "/relayed"); j++) {
        String relayed = at + "/relayed/" + j;
        onlyOnce(relayed + "/source", names);
        sources.add(
            new Settings.Relayed(
                text(relayed + "/source", ""), text(relayed + "/mapping", ""), source.name()));
      }
      if (source instanceof Settings.Kafka && has("/publish")) {
        problem(at, "a node that publishes reads no topic; give the topic to another node");
      }
    }
    return sources;
  }

  private void onlyOnce(String pointer, Set<String> names) {
    if (!names.add(text(pointer, ""))) {
      problem(pointer, "another source has this name already; names must differ");
    }
  }

  private Settings.Source source(String at) {
    String kind = text(at + "/kind", "");
    foreignKeys(at, kind);
    return switch (kind) {
      case "form" ->
          new Settings.Form(
              text(at + "/name", ""), text(at + "/mapping", ""), fields(at + "/unfold"));
      case "fhir" -> new Settings.FhirIn(text(at + "/name", ""), text(at + "/mapping", ""));
      case "mllp" -> mllp(at);
      case "sftp" -> new SftpSettings(this, at).source();
      case "kafka" -> new TopicSettings(this, at).source();
      default -> folderSource(at);
    };
  }

  private Set<Field> fields(String pointer) {
    Set<Field> fields = EnumSet.noneOf(Field.class);
    for (JsonNode key : yaml.tree().at(pointer)) {
      Field.named(key.asText()).ifPresent(fields::add);
    }
    return fields;
  }

  /** Keys that another kind of source has. */
  private void foreignKeys(String at, String kind) {
    List<String> own = KEYS_OF_KIND.getOrDefault(kind, List.of());
    for (String key :
        new TreeSet<>(KEYS_OF_KIND.values().stream().flatMap(List::stream).toList())) {
      if (!own.contains(key) && has(at + "/" + key)) {
        problem(
            at + "/" + key,
            "a source of kind " + kind + " has no " + key + "; it belongs to kind " + owners(key));
      }
    }
  }

  private static String owners(String key) {
    return KEYS_OF_KIND.entrySet().stream()
        .filter(each -> each.getValue().contains(key))
        .map(Map.Entry::getKey)
        .sorted()
        .collect(Collectors.joining(" or "));
  }

  private Settings.Source mllp(String at) {
    if (yaml.tree().at(at + "/port").isMissingNode()) {
      problem(at, "an mllp source needs a port");
    }
    return new Settings.Mllp(
        text(at + "/name", ""),
        text(at + "/mapping", ""),
        text(at + "/bind", "127.0.0.1"),
        number(at + "/port", 0),
        number(at + "/connections", 20),
        number(at + "/largestMessage", 1_048_576),
        Duration.ofSeconds(number(at + "/idleSeconds", 0)),
        Settings.Acknowledge.valueOf(text(at + "/acknowledge", "mapped").toUpperCase(Locale.ROOT)),
        yaml.tree().at(at + "/tls").isMissingNode() ? null : listenerTls(at + "/tls"));
  }

  private Settings.ListenerTls listenerTls(String at) {
    Settings.KeyFile clients =
        yaml.tree().at(at + "/clients").isMissingNode()
            ? null
            : keyFile(at + "/clients", at + "/clientsPassword");
    return new Settings.ListenerTls(keyFile(at + "/keystore", at + "/password"), clients);
  }

  private Settings.KeyFile keyFile(String path, String password) {
    secret(password, "this needs the password of the file");
    return new Settings.KeyFile(
        folder.resolve(required(path, "this needs a PKCS #12 file")).normalize(), again(password));
  }

  private Settings.Source folderSource(String at) {
    String done = text(at + "/done", ".done");
    boolean recursive = yaml.tree().at(at + "/recursive").asBoolean(false);
    if (recursive && !done.startsWith(".")) {
      problem(
          at + "/done",
          "with recursive, finished files would be found again here; begin the name with a dot");
    }
    return new Settings.Folder(
        text(at + "/name", ""),
        text(at + "/mapping", ""),
        folder.resolve(required(at + "/path", "a folder source needs a path")).normalize(),
        text(at + "/pattern", "*"),
        recursive,
        Duration.ofSeconds(number(at + "/settleSeconds", 1)),
        Duration.ofSeconds(number(at + "/pollSeconds", 1)),
        done);
  }

  String text(String pointer, String otherwise) {
    String value = optional(pointer);
    return value == null ? otherwise : value;
  }

  String required(String pointer, String message) {
    String value = optional(pointer);
    if (value == null || value.isBlank()) {
      problem(pointer, message);
      return "";
    }
    return value;
  }

  String secret(String pointer, String message) {
    String value = required(pointer, message);
    String written = yaml.tree().at(pointer).asText("");
    if (!written.isEmpty() && !Secrets.isPlace(written)) {
      problem(pointer, "a secret must not stand in this file; write ${NAME} or ${file:/path}");
    }
    return value;
  }

  @Nullable String optional(String pointer) {
    JsonNode node = yaml.tree().at(pointer);
    if (node.isMissingNode() || node.isNull()) {
      return null;
    }
    try {
      return secrets.fill(node.asText());
    } catch (Secrets.Missing e) {
      problem(pointer, e.getMessage() == null ? "cannot be filled in" : e.getMessage());
      return "";
    }
  }

  int number(String pointer, int otherwise) {
    return yaml.tree().at(pointer).asInt(otherwise);
  }

  int count(String pointer) {
    return yaml.tree().at(pointer).size();
  }

  private @Nullable Integer optionalNumber(String pointer) {
    JsonNode node = yaml.tree().at(pointer);
    return node.isMissingNode() || node.isNull() ? null : (Integer) node.asInt();
  }

  boolean has(String pointer) {
    return !yaml.tree().at(pointer).isMissingNode();
  }

  private Path path(String pointer, String otherwise) {
    return folder.resolve(text(pointer, otherwise)).normalize();
  }

  Path requiredPath(String pointer, String message) {
    return folder.resolve(required(pointer, message)).normalize();
  }

  @Nullable Path optionalPath(String pointer) {
    String value = optional(pointer);
    return value == null ? null : folder.resolve(value).normalize();
  }

  /** The file that is named; else the one of this name beside the settings, where there is one. */
  private @Nullable Path beside(String pointer, String name) {
    Path given = optionalPath(pointer);
    Path own = folder.resolve(name);
    return given == null && Files.exists(own) ? own : given;
  }

  void problem(String pointer, String message) {
    problems.add(yaml.at(pointer, message));
  }
}
