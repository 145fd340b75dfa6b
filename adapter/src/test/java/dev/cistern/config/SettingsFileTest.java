// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.config;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;
import static org.assertj.core.api.Assertions.catchThrowableOfType;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.json.Json;
import dev.cistern.scan.CisternException;
import dev.cistern.scan.Derived;
import dev.cistern.yaml.Problem;
import dev.cistern.yaml.YamlProblems;
import java.io.InputStream;
import java.net.URI;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Duration;
import java.time.ZoneId;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import java.util.TreeMap;
import java.util.function.Function;
import java.util.regex.Pattern;
import java.util.stream.Collectors;
import org.jspecify.annotations.Nullable;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

class SettingsFileTest {
  private static final String SMALL =
      """
      node: alder-vale-1
      fhir:
        base: http://127.0.0.1:8090/fhir
      patient:
        system: "urn:oid:2.999.1.1"
      sources:
        - name: elm-ward
          kind: folder
          mapping: elm-ward-export
          path: ./inbox/elm
      """;

  @TempDir Path folder;

  /** A key of the schema: another value than its default, and where it comes out. */
  private record Key(
      String value, @Nullable Object read, Function<Settings, @Nullable Object> at) {}

  private Map<String, Key> keys() {
    Map<String, Key> keys = new TreeMap<>();
    keys.put("node", new Key("elm-2", "elm-2", Settings::node));
    keys.put("data", new Key("./store", folder.resolve("store"), Settings::data));
    keys.put(
        "store.url",
        new Key("jdbc:postgresql://h/d", "jdbc:postgresql://h/d", s -> shared(s).url()));
    keys.put("store.user", new Key("elm", "elm", s -> shared(s).user()));
    keys.put("store.password", new Key("${SECRET}", "secret", s -> shared(s).password().get()));
    keys.put("mappings", new Key("./maps", folder.resolve("maps"), Settings::mappings));
    keys.put("codes", new Key("./codes.csv", folder.resolve("codes.csv"), Settings::codes));
    keys.put("policy", new Key("./policy.yaml", folder.resolve("policy.yaml"), Settings::policy));
    keys.put("http.bind", new Key("0.0.0.0", "0.0.0.0", s -> s.http().bind()));
    keys.put("http.port", new Key("0", 0, s -> s.http().port()));
    keys.put("http.largestForm", new Key("2048", 2048, s -> s.http().largestForm()));
    keys.put("http.tls.keystore", new Key("./h.p12", folder.resolve("h.p12"), s -> http(s).path()));
    keys.put("http.tls.password", new Key("${SECRET}", "secret", s -> http(s).password().get()));
    keys.put(
        "access.forms", new Key("asked", "asked", s -> s.access().formsAsked() ? "asked" : "open"));
    keys.put("access.idleMinutes", new Key("5", 5L, s -> s.access().idle().toMinutes()));
    keys.put("access.longestHours", new Key("1", 1L, s -> s.access().longest().toHours()));
    keys.put("access.proxy", new Key("true", true, s -> s.access().proxy()));
    signOn(keys);
    topics(keys);
    keys.put(
        "console.zone", new Key("Asia/Tokyo", ZoneId.of("Asia/Tokyo"), s -> s.console().zone()));
    keys.put("console.silentDays", new Key("9", 9L, s -> s.console().silent().toDays()));
    keys.put(
        "alarm.url",
        new Key(
            "https://desk.example/x", URI.create("https://desk.example/x"), s -> s.alarm().url()));
    keys.put("alarm.repeatMinutes", new Key("5", 5L, s -> s.alarm().repeat().toMinutes()));
    keys.put(
        "fhir.base",
        new Key(
            "https://fhir.example/r4",
            URI.create("https://fhir.example/r4"),
            s -> s.fhir().base()));
    keys.put("fhir.mode", new Key("put", Settings.Mode.PUT, s -> s.fhir().mode()));
    keys.put("fhir.bundle", new Key("1", 1, s -> s.fhir().bundle()));
    keys.put("fhir.workers", new Key("2", 2, s -> s.fhir().workers()));
    keys.put("fhir.timeoutSeconds", new Key("5", Duration.ofSeconds(5), s -> s.fhir().timeout()));
    keys.put("fhir.system", new Key("urn:elm", "urn:elm", s -> s.fhir().system()));
    keys.put("fhir.snomed", new Key("false", false, s -> s.fhir().snomed()));
    keys.put(
        "fhir.derived", new Key("[capacity]", List.of(Derived.CAPACITY), s -> s.fhir().derived()));
    keys.put("fhir.auth.kind", new Key("bearer", "bearer", s -> s.fhir().auth().kind()));
    keys.put("fhir.auth.user", new Key("elm", "Basic ZWxtOnNlY3JldA==", SettingsFileTest::header));
    keys.put(
        "fhir.auth.password",
        new Key("${SECRET}", "Basic ZWxtOnNlY3JldA==", SettingsFileTest::header));
    keys.put("fhir.auth.token", new Key("${SECRET}", "Bearer secret", SettingsFileTest::header));
    keys.put("fhir.auth.clientId", new Key("fir", "fir", s -> backend(s).clientId()));
    keys.put("fhir.auth.key", new Key("./k.jwk", folder.resolve("k.jwk"), s -> backend(s).key()));
    keys.put("fhir.auth.algorithm", new Key("ES384", "ES384", s -> backend(s).algorithm()));
    keys.put("fhir.auth.keyId", new Key("k-1", "k-1", s -> backend(s).keyId()));
    keys.put("fhir.auth.scope", new Key("system/*.rs", "system/*.rs", s -> backend(s).scope()));
    keys.put(
        "fhir.auth.tokenUrl",
        new Key(
            "https://a.example/t", URI.create("https://a.example/t"), s -> backend(s).tokenUrl()));
    keys.put("fhir.largestAnswer", new Key("70000", 70_000, s -> s.fhir().largestAnswer()));
    keys.put(
        "fhir.tls.keystore",
        new Key("./k.p12", folder.resolve("k.p12"), s -> store(s.fhir().tls().keystore()).file()));
    keys.put(
        "fhir.tls.keystorePassword",
        new Key("${SECRET}", "secret", s -> store(s.fhir().tls().keystore()).password().get()));
    keys.put(
        "fhir.tls.truststore",
        new Key(
            "./t.p12", folder.resolve("t.p12"), s -> store(s.fhir().tls().truststore()).file()));
    keys.put(
        "fhir.tls.truststorePassword",
        new Key("${SECRET}", "secret", s -> store(s.fhir().tls().truststore()).password().get()));
    keys.put("fhir.tls.warnDays", new Key("7", 7L, s -> s.fhir().tls().warn().toDays()));
    keys.put("patient.system", new Key("urn:x", "urn:x", s -> s.patient().system()));
    keys.put(
        "patient.reference",
        new Key("logical", Settings.Reference.LOGICAL, s -> s.patient().reference()));
    keys.put("patient.checkDigit", new Key("nhs", "nhs", s -> s.patient().checkDigit()));
    keys.put(
        "patient.encounterSystem", new Key("urn:e", "urn:e", s -> s.patient().encounterSystem()));
    keys.put(
        "patient.operatorSystem", new Key("urn:o", "urn:o", s -> s.patient().operatorSystem()));
    keys.put("retention.rawDays", new Key("40", 40, s -> s.retention().rawDays()));
    keys.put("retention.patientDataDays", new Key("50", 50, s -> s.retention().patientDataDays()));
    keys.put("trail.everySeconds", new Key("60", Duration.ofSeconds(60), s -> s.trail().every()));
    keys.put(
        "trail.ship.kind",
        new Key("syslog", Settings.ShipToSyslog.class, s -> s.trail().ship().get(0).getClass()));
    keys.put(
        "trail.ship.path",
        new Key(
            "./heads",
            folder.resolve("heads"),
            s -> ((Settings.ShipToFile) s.trail().ship().get(0)).path()));
    keys.put(
        "trail.ship.url",
        new Key(
            "https://audit.example/h",
            URI.create("https://audit.example/h"),
            s -> ((Settings.ShipToWebhook) s.trail().ship().get(0)).url()));
    keys.put(
        "trail.ship.secret",
        new Key(
            "${SECRET}",
            "secret",
            s -> ((Settings.ShipToWebhook) s.trail().ship().get(0)).secret().get()));
    keys.put("trail.ship.host", new Key("log.example", "log.example", s -> syslog(s).host()));
    keys.put("trail.ship.port", new Key("601", 601, s -> syslog(s).port()));
    keys.put("trail.ship.transport", new Key("tcp", "tcp", s -> syslog(s).tcp() ? "tcp" : "udp"));
    keys.put("sources.name", new Key("birch", "birch", s -> s.sources().get(0).name()));
    keys.put("sources.kind", new Key("folder", "folder", s -> s.sources().get(0).kind()));
    keys.put("sources.mapping", new Key("m", "m", s -> s.sources().get(0).mapping()));
    keys.put("sources.path", new Key("./in", folder.resolve("in"), s -> first(s).path()));
    keys.put("sources.pattern", new Key("a*", "a*", s -> first(s).pattern()));
    keys.put("sources.recursive", new Key("true", true, s -> first(s).recursive()));
    keys.put("sources.settleSeconds", new Key("0", Duration.ZERO, s -> first(s).settle()));
    keys.put("sources.pollSeconds", new Key("7", Duration.ofSeconds(7), s -> first(s).poll()));
    keys.put("sources.done", new Key(".taken", ".taken", s -> first(s).done()));
    keys.put("sources.server.host", new Key("h.example", "h.example", s -> server(s).host()));
    keys.put("sources.server.port", new Key("2222", 2222, s -> server(s).port()));
    keys.put("sources.server.user", new Key("fir", "fir", s -> server(s).user()));
    keys.put(
        "sources.server.knownHosts",
        new Key("./hosts", folder.resolve("hosts"), s -> server(s).knownHosts()));
    keys.put("sources.server.key", new Key("./k", folder.resolve("k"), s -> key(s).path()));
    keys.put(
        "sources.server.keyPassword", new Key("${SECRET}", "secret", s -> key(s).password().get()));
    keys.put(
        "sources.server.password", new Key("${SECRET}", "secret", s -> server(s).password().get()));
    keys.put(
        "sources.unfold",
        new Key(
            "[position]",
            java.util.Set.of(dev.cistern.scan.Field.POSITION),
            s -> ((Settings.Form) s.sources().get(0)).unfold()));
    keys.put("sources.bind", new Key("0.0.0.0", "0.0.0.0", s -> listener(s).bind()));
    keys.put("sources.port", new Key("2576", 2576, s -> listener(s).port()));
    keys.put("sources.connections", new Key("3", 3, s -> listener(s).connections()));
    keys.put("sources.largestMessage", new Key("4096", 4096, s -> listener(s).largestMessage()));
    keys.put("sources.idleSeconds", new Key("9", Duration.ofSeconds(9), s -> listener(s).idle()));
    keys.put(
        "sources.acknowledge",
        new Key("stored", Settings.Acknowledge.STORED, s -> listener(s).acknowledge()));
    keys.put(
        "sources.tls.keystore",
        new Key("./k.p12", folder.resolve("k.p12"), s -> tls(s).keystore().path()));
    keys.put(
        "sources.tls.password",
        new Key("${SECRET}", "secret", s -> tls(s).keystore().password().get()));
    keys.put(
        "sources.tls.clients", new Key("./c.p12", folder.resolve("c.p12"), s -> clients(s).path()));
    keys.put(
        "sources.tls.clientsPassword",
        new Key("${SECRET}", "secret", s -> clients(s).password().get()));
    return keys;
  }

  private static final java.util.Set<String> OF_LISTENERS =
      java.util.Set.of(
          "bind", "port", "connections", "largestMessage", "idleSeconds", "acknowledge");

  private static boolean isOfListeners(String path) {
    return path.startsWith("sources.tls.")
        || (path.startsWith("sources.")
            && OF_LISTENERS.contains(path.substring("sources.".length())));
  }

  private static Settings.Mllp listener(Settings settings) {
    return (Settings.Mllp) settings.sources().get(0);
  }

  private static Settings.KeyFile http(Settings settings) {
    return java.util.Objects.requireNonNull(settings.http().tls());
  }

  private static Settings.SftpServer server(Settings settings) {
    return ((Settings.Sftp) settings.sources().get(0)).server();
  }

  private static Settings.KeyFile key(Settings settings) {
    return java.util.Objects.requireNonNull(server(settings).key());
  }

  private static Settings.ListenerTls tls(Settings settings) {
    return java.util.Objects.requireNonNull(listener(settings).tls());
  }

  private static Settings.KeyFile clients(Settings settings) {
    return java.util.Objects.requireNonNull(tls(settings).clients());
  }

  private static Settings.ShipToSyslog syslog(Settings settings) {
    return (Settings.ShipToSyslog) settings.trail().ship().get(0);
  }

  private static Settings.Folder first(Settings settings) {
    return (Settings.Folder) settings.sources().get(0);
  }

  private static Settings.SmartBackend backend(Settings settings) {
    return (Settings.SmartBackend) settings.fhir().auth();
  }

  private static Settings.Store store(Settings.@Nullable Store store) {
    return java.util.Objects.requireNonNull(store);
  }

  private static @Nullable Object header(Settings settings) {
    return settings.fhir().auth() instanceof Settings.Written written
        ? written.header().get()
        : null;
  }

  private static String resource(String name) throws Exception {
    try (InputStream in = SettingsFileTest.class.getResourceAsStream(name)) {
      return new String(
          java.util.Objects.requireNonNull(in).readAllBytes(), StandardCharsets.UTF_8);
    }
  }

  /** Every key of the schema that holds a value, by its path. */
  private static Settings.Kafka topic(Settings settings) {
    return (Settings.Kafka) settings.sources().get(0);
  }

  private static void topics(Map<String, Key> keys) {
    keys.put("sources.group", new Key("elm", "elm", s -> topic(s).group()));
    keys.put("sources.relayed.source", new Key("oak", "oak", s -> s.sources().get(1).name()));
    keys.put("sources.relayed.mapping", new Key("m-2", "m-2", s -> s.sources().get(1).mapping()));
    topic(keys, "sources.", s -> topic(s).topic());
    topic(keys, "publish.", s -> java.util.Objects.requireNonNull(s.publish()));
  }

  private static void topic(
      Map<String, Key> keys, String at, Function<Settings, Settings.Topic> topic) {
    keys.put(at + "topic", new Key("elm", "elm", s -> topic.apply(s).name()));
    keys.put(at + "largestRecord", new Key("2048", 2048, s -> topic.apply(s).largestRecord()));
    String broker = at + "broker.";
    keys.put(broker + "servers", new Key("k:1", "k:1", s -> topic.apply(s).servers()));
    keys.put(broker + "user", new Key("elm", "elm", s -> sasl(topic.apply(s)).user()));
    keys.put(
        broker + "password",
        new Key("${SECRET}", "secret", s -> sasl(topic.apply(s)).password().get()));
    keys.put(
        broker + "mechanism", new Key("PLAIN", "PLAIN", s -> sasl(topic.apply(s)).mechanism()));
    for (String which : List.of("keystore", "truststore")) {
      Function<Settings, Settings.Store> store =
          s -> {
            Settings.TopicTls tls = java.util.Objects.requireNonNull(topic.apply(s).tls());
            return store(which.equals("keystore") ? tls.keystore() : tls.truststore());
          };
      keys.put(
          broker + "tls." + which,
          new Key("./k.p12", "k.p12", s -> store.apply(s).file().getFileName().toString()));
      keys.put(
          broker + "tls." + which + "Password",
          new Key("${SECRET}", "secret", s -> store.apply(s).password().get()));
    }
  }

  private static Settings.Sasl sasl(Settings.Topic topic) {
    return java.util.Objects.requireNonNull(topic.sasl());
  }

  private static boolean isOfTopics(String path) {
    return path.matches("(sources|publish)\\.(topic|group|largestRecord|broker|relayed)\\b.*");
  }

  /** With a user and both files, so that what belongs to them has a place. */
  private static void asTopic(com.fasterxml.jackson.databind.node.ObjectNode tree, String at) {
    com.fasterxml.jackson.databind.node.ObjectNode there =
        at.equals("publish")
            ? tree.putObject("publish")
            : (com.fasterxml.jackson.databind.node.ObjectNode) tree.at("/sources/0");
    if (at.equals("sources")) {
      there.put("kind", "kafka").remove("path");
      there.putArray("relayed").addObject().put("source", "r").put("mapping", "m");
    }
    there.put("topic", "t");
    there.set(
        "broker",
        Json.tree(
            "{\"servers\":\"h:9\",\"user\":\"u\",\"password\":\"${SECRET}\",\"tls\":{"
                + "\"keystore\":\"./a.p12\",\"keystorePassword\":\"${SECRET}\","
                + "\"truststore\":\"./b.p12\",\"truststorePassword\":\"${SECRET}\"}}"));
  }

  private static Settings.SignOn on(Settings settings) {
    return java.util.Objects.requireNonNull(settings.access().signOn());
  }

  private static void signOn(Map<String, Key> keys) {
    String oidc = "access.oidc.";
    String place = "https://b.example";
    keys.put(oidc + "issuer", new Key(place, place, s -> on(s).issuer().toString()));
    keys.put(oidc + "base", new Key(place, place, s -> on(s).base().toString()));
    keys.put(oidc + "clientId", new Key("other", "other", s -> on(s).clientId()));
    keys.put(
        oidc + "clientSecret",
        new Key(
            "${SECRET}", "secret", s -> java.util.Objects.requireNonNull(on(s).secret()).get()));
    keys.put(oidc + "scope", new Key("openid", "openid", s -> on(s).claims().scope()));
    keys.put(oidc + "algorithm", new Key("ES256", "ES256", s -> on(s).claims().algorithm()));
    keys.put(oidc + "nameClaim", new Key("upn", "upn", s -> on(s).claims().name()));
    keys.put(oidc + "rolesClaim", new Key("a.b", "a.b", s -> on(s).claims().roles()));
    keys.put(
        oidc + "roles.value",
        new Key("nurses", Map.of("nurses", List.of("view")), s -> on(s).claims().groups()));
    keys.put(
        oidc + "roles.role",
        new Key("audit", Map.of("g", List.of("audit")), s -> on(s).claims().groups()));
    keys.put(oidc + "words", new Key("our account", "our account", s -> on(s).words()));
  }

  private static void asSignOn(com.fasterxml.jackson.databind.node.ObjectNode tree) {
    set(tree, "access.oidc.issuer", "https://a.example");
    set(tree, "access.oidc.base", "https://c.example");
    set(tree, "access.oidc.clientId", "cistern");
    ((com.fasterxml.jackson.databind.node.ObjectNode) tree.at("/access/oidc"))
        .set("roles", Json.tree("[{\"value\":\"g\",\"role\":\"view\"}]"));
  }

  private static Map<String, JsonNode> schema() throws Exception {
    Map<String, JsonNode> leaves = new TreeMap<>();
    leaves("", Json.tree(resource("/schema/cistern.schema.json")), leaves);
    return leaves;
  }

  private static void leaves(String path, JsonNode node, Map<String, JsonNode> into) {
    JsonNode properties =
        node.has("items") ? node.at("/items/properties") : node.path("properties");
    if (properties.isMissingNode()) {
      into.put(path, node);
      return;
    }
    properties
        .fields()
        .forEachRemaining(
            e -> leaves(path.isEmpty() ? e.getKey() : path + "." + e.getKey(), e.getValue(), into));
  }

  private Settings read(String yaml) throws Exception {
    Path file = Files.writeString(folder.resolve("cistern.yaml"), yaml);
    return SettingsFile.read(file, Map.of("SECRET", "secret"));
  }

  private List<Problem> problems(String yaml) {
    return catchThrowableOfType(YamlProblems.class, () -> read(yaml)).problems();
  }

  private Problem problem(String yaml) {
    List<Problem> problems = problems(yaml);
    assertThat(problems).hasSize(1);
    return problems.get(0);
  }

  /** The small file as a tree with one key set; auth keys bring those they need along. */
  private Settings with(String path, String value) throws Exception {
    com.fasterxml.jackson.databind.node.ObjectNode tree = tree();
    if (path.equals("fhir.auth.user") || path.equals("fhir.auth.password")) {
      set(tree, "fhir.auth.kind", "basic");
      set(tree, "fhir.auth.user", "elm");
      set(tree, "fhir.auth.password", "${SECRET}");
    } else if (path.equals("fhir.auth.kind") || path.equals("fhir.auth.token")) {
      set(tree, "fhir.auth.kind", "bearer");
      set(tree, "fhir.auth.token", "${SECRET}");
    } else if (path.startsWith("fhir.auth.")) {
      set(tree, "fhir.auth.kind", "smart-backend");
      set(tree, "fhir.auth.clientId", "elm");
      set(tree, "fhir.auth.key", "./key.pem");
    } else if (path.startsWith("fhir.tls.") && path.endsWith("storePassword")) {
      set(tree, path.replace("Password", ""), "./store.p12");
    } else if (path.startsWith("fhir.tls.") && path.endsWith("store")) {
      set(tree, path + "Password", "${SECRET}");
    }
    if (path.startsWith("store.")) {
      set(tree, "store.url", "jdbc:postgresql://h/c");
    }
    if (isOfListeners(path)) {
      asListener(tree);
    }
    if (isOfTopics(path)) {
      asTopic(tree, path.substring(0, path.indexOf('.')));
    }
    if (path.equals("sources.unfold")) {
      asForm(tree);
    }
    if (path.startsWith("access.oidc.")) {
      asSignOn(tree);
    }
    if (path.startsWith("http.tls.")) {
      set(tree, "http.tls.keystore", "./other.p12");
      set(tree, "http.tls.password", "${SECRET}");
    }
    if (path.startsWith("sources.server.")) {
      asFolderElsewhere(tree, path.endsWith(".password") ? "password" : "key");
    }
    if (path.startsWith("sources.tls.")) {
      set(tree, "sources.tls.keystore", "./other.p12");
      set(tree, "sources.tls.password", "${SECRET}");
      set(tree, "sources.tls.clients", "./others.p12");
      set(tree, "sources.tls.clientsPassword", "${SECRET}");
    }
    if (path.equals("trail.ship.path")) {
      ship(tree, "{\"kind\":\"file\"}");
    }
    if (path.equals("trail.ship.url") || path.equals("trail.ship.secret")) {
      ship(tree, "{\"kind\":\"webhook\",\"url\":\"http://127.0.0.1/h\",\"secret\":\"${SECRET}\"}");
    }
    set(tree, path, value);
    return read(tree.toString());
  }

  private static Settings.Shared shared(Settings settings) {
    return java.util.Objects.requireNonNull(settings.store());
  }

  private static void asListener(com.fasterxml.jackson.databind.node.ObjectNode tree) {
    set(tree, "sources.kind", "mllp");
    set(tree, "sources.port", "2575");
    ((com.fasterxml.jackson.databind.node.ObjectNode) tree.at("/sources/0")).remove("path");
  }

  private static void asForm(com.fasterxml.jackson.databind.node.ObjectNode tree) {
    set(tree, "sources.kind", "form");
    ((com.fasterxml.jackson.databind.node.ObjectNode) tree.at("/sources/0")).remove("path");
  }

  private static void asFolderElsewhere(
      com.fasterxml.jackson.databind.node.ObjectNode tree, String secret) {
    set(tree, "sources.kind", "sftp");
    set(tree, "sources.server.host", "h");
    set(tree, "sources.server.user", "u");
    set(tree, "sources.server.knownHosts", "./known_hosts");
    set(tree, "sources.server." + secret, secret.equals("key") ? "./key" : "${SECRET}");
  }

  private static void ship(com.fasterxml.jackson.databind.node.ObjectNode tree, String ship) {
    ((com.fasterxml.jackson.databind.node.ArrayNode) tree.at("/trail/ship"))
        .set(0, Json.tree(ship));
  }

  private static com.fasterxml.jackson.databind.node.ObjectNode tree() {
    return (com.fasterxml.jackson.databind.node.ObjectNode)
        Json.tree(
            "{\"node\":\"n\",\"fhir\":{\"base\":\"http://127.0.0.1/fhir\"},"
                + "\"patient\":{\"system\":\"urn:p\"},"
                + "\"trail\":{\"ship\":[{\"kind\":\"syslog\",\"host\":\"h\"}]},"
                + "\"sources\":[{\"name\":\"elm\",\"kind\":\"folder\",\"mapping\":\"m\",\"path\":\"./p\"}]}");
  }

  private static void set(
      com.fasterxml.jackson.databind.node.ObjectNode tree, String path, String value) {
    com.fasterxml.jackson.databind.node.ObjectNode at = tree;
    String[] parts = path.split("\\.");
    for (int i = 0; i < parts.length - 1; i++) {
      JsonNode next = at.path(parts[i]);
      at =
          next.isArray()
              ? (com.fasterxml.jackson.databind.node.ObjectNode) next.get(0)
              : next.isObject()
                  ? (com.fasterxml.jackson.databind.node.ObjectNode) next
                  : at.putObject(parts[i]);
    }
    String last = parts[parts.length - 1];
    if (value.startsWith("[")) {
      at.putArray(last).add(value.substring(1, value.length() - 1));
    } else if (value.matches("-?\\d+")) {
      at.put(last, Integer.parseInt(value));
    } else if (value.matches("true|false")) {
      at.put(last, Boolean.parseBoolean(value));
    } else {
      at.put(last, value);
    }
  }

  @Test
  void every_key_of_the_schema_is_read() throws Exception {
    Map<String, Key> keys = keys();
    assertThat(schema().keySet()).isEqualTo(keys.keySet());
    for (Map.Entry<String, Key> key : keys.entrySet()) {
      Settings settings = with(key.getKey(), key.getValue().value());
      assertThat(key.getValue().at().apply(settings))
          .as(key.getKey())
          .isEqualTo(key.getValue().read());
    }
  }

  @Test
  void what_is_left_out_is_what_the_schema_says() throws Exception {
    Settings folders = read(tree().toString());
    com.fasterxml.jackson.databind.node.ObjectNode listening = tree();
    asListener(listening);
    Settings listeners = read(listening.toString());
    com.fasterxml.jackson.databind.node.ObjectNode fetching = tree();
    asFolderElsewhere(fetching, "key");
    Settings fetched = read(fetching.toString());
    com.fasterxml.jackson.databind.node.ObjectNode posting = tree();
    asForm(posting);
    Settings posted = read(posting.toString());
    Map<String, Object> defaults = new LinkedHashMap<>();
    schema()
        .forEach(
            (path, node) -> {
              if (node.has("default")) {
                defaults.put(path, node.get("default").asText());
              }
            });
    assertThat(defaults).hasSizeGreaterThan(15);
    for (Map.Entry<String, Object> each : defaults.entrySet()) {
      boolean elsewhere = each.getKey().startsWith("access.oidc.");
      boolean backend = List.of("fhir.auth.algorithm", "fhir.auth.scope").contains(each.getKey());
      Object read =
          java.util.Objects.requireNonNull(keys().get(each.getKey()))
              .at()
              .apply(
                  isOfTopics(each.getKey())
                      ? with(each.getKey().replaceFirst("\\..*", ".topic"), "t")
                      : backend
                          ? with("fhir.auth.clientId", "elm")
                          : elsewhere
                              ? with("access.oidc.clientId", "cistern")
                              : isOfListeners(each.getKey())
                                  ? listeners
                                  : each.getKey().startsWith("sources.server.")
                                      ? fetched
                                      : each.getKey().equals("sources.unfold") ? posted : folders);
      assertThat(written(read)).as(each.getKey()).isEqualTo(each.getValue());
    }
  }

  /** A setting as it would be written. */
  private String written(@Nullable Object read) {
    if (read instanceof Path path) {
      return "./" + folder.relativize(path);
    }
    if (read instanceof Duration duration) {
      return String.valueOf(duration.toSeconds());
    }
    if (read instanceof Settings.Mode mode) {
      return mode.word();
    }
    if (read instanceof Settings.Acknowledge acknowledge) {
      return acknowledge.name().toLowerCase(java.util.Locale.ROOT);
    }
    if (read instanceof Settings.Reference reference) {
      return reference.name().toLowerCase(java.util.Locale.ROOT);
    }
    if (read instanceof java.util.Collection<?> list) {
      return list.stream().map(String::valueOf).collect(Collectors.joining(","));
    }
    return String.valueOf(read);
  }

  @Test
  void a_way_off_the_host_is_held_to_its_kind() {
    String trail = SMALL + "trail:\n  ship:\n    - ";
    assertThat(problem(trail + "{ kind: file, path: ./h, host: log.example }").message())
        .isEqualTo("this belongs to kind syslog");
    assertThat(problem(trail + "{ kind: file }").message()).contains("a file needs a path");
    assertThat(problem(trail + "{ kind: syslog }").message()).contains("syslog needs a host");
    assertThat(
            problem(trail + "{ kind: webhook, url: \"https://audit.example/h\", secret: open }")
                .message())
        .contains("a secret must not stand in this file");
    assertThat(
            problem(trail + "{ kind: webhook, url: \"ftp://audit\", secret: \"${SECRET}\" }")
                .message())
        .contains("no http or https address");
  }

  @Test
  void every_key_stands_in_the_commented_settings_file() throws Exception {
    String file = resource("/config/cistern.yaml");
    for (String path : schema().keySet()) {
      String key = path.substring(path.lastIndexOf('.') + 1);
      assertThat(file).as(path).containsPattern(Pattern.compile("(^|[\\s{,#-])" + key + ":"));
    }
  }

  @Test
  void the_commented_settings_file_can_be_used_as_it_is() throws Exception {
    Settings settings = read(resource("/config/cistern.yaml"));
    assertThat(settings.node()).isEqualTo("alder-vale-1");
    assertThat(settings.sources())
        .extracting(Settings.Source::kind)
        .containsExactly("folder", "form", "mllp");
    assertThat(
            read(resource("/config/cistern.yaml")
                    .replaceAll("(?m)^  auth: .*", "")
                    .replaceAll("(?m)^  # (auth: .*bearer.*)", "  $1")
                    .replace("${file:/run/secrets/fhir-token}", "${SECRET}"))
                .fhir()
                .auth()
                .kind())
        .isEqualTo("bearer");
  }

  @Test
  void an_unknown_key_is_a_problem_with_its_place_and_the_nearest_one_that_is_known() {
    Problem problem =
        problem(SMALL.replace("base:", "base: http://127.0.0.1/fhir\n  bundel: 5\n  #"));
    assertThat(problem.line()).isEqualTo(4);
    assertThat(problem.column()).isEqualTo(3);
    assertThat(problem.message()).contains("bundel").contains("did you mean \"bundle\"?");
    assertThat(problem.toString()).contains("cistern.yaml:4:3: ");
  }

  @Test
  void every_problem_is_told_not_only_the_first() {
    assertThat(
            problems(
                SMALL
                    .replace("node: alder-vale-1", "node: alder vale!")
                    .replace("kind: folder", "kind: drawer")))
        .hasSize(2)
        .extracting(Problem::line)
        .containsExactlyInAnyOrder(1, 8);
  }

  @Test
  void two_sources_must_not_have_the_same_name() {
    Problem problem =
        problem(SMALL + "  - { name: elm-ward, kind: form, mapping: bedside-form }\n");
    assertThat(problem.line()).isEqualTo(11);
    assertThat(problem.message()).contains("another source has this name");
  }

  @Test
  void a_listener_needs_a_port_and_keeps_its_passwords_out_of_the_file() {
    String listener = SMALL.replace("    path: ./inbox/elm\n", "").replace("folder", "mllp");
    assertThat(problem(listener).message()).isEqualTo("an mllp source needs a port");
    assertThat(
            problem(listener + "    port: 2575\n    tls: { keystore: ./k.p12, password: plain }\n")
                .message())
        .contains("a secret must not stand in this file");
  }

  @Test
  void a_folder_elsewhere_needs_a_server_and_one_way_to_say_who_we_are() {
    String elsewhere = SMALL.replace("kind: folder", "kind: sftp");
    assertThat(problem(elsewhere).message()).contains("an sftp source needs a server");
    String server = "    server: { host: h, user: u, knownHosts: ./k%s }\n";
    assertThat(problem(elsewhere + server.formatted("")).message())
        .isEqualTo("this needs either a key or a password");
    assertThat(
            problem(elsewhere + server.formatted(", key: ./k, password: \"${SECRET}\"")).message())
        .isEqualTo("this needs either a key or a password");
    assertThat(problem(elsewhere + server.formatted(", password: open")).message())
        .contains("a secret must not stand in this file");
    assertThat(problem(elsewhere + server.formatted(", key: ./k") + "    done: a/b\n").message())
        .contains("without a slash");
    assertThat(problem(SMALL + "    server: { host: h, user: u, knownHosts: ./k }\n").message())
        .isEqualTo("a source of kind folder has no server; it belongs to kind sftp");
  }

  @Test
  void a_form_has_no_folder_and_a_folder_needs_one() {
    assertThat(problem(SMALL.replace("kind: folder", "kind: form")).message())
        .isEqualTo("a source of kind form has no path; it belongs to kind folder or sftp");
    assertThat(problem(SMALL.replace("    path: ./inbox/elm\n", "")).message())
        .contains("a folder source needs a path");
  }

  @Test
  void finished_files_must_not_be_found_again() {
    assertThat(problem(SMALL + "    recursive: true\n    done: done\n").message())
        .contains("would be found again");
  }

  @Test
  void a_secret_must_not_stand_in_the_file_and_is_not_repeated() {
    String open = "  auth: { kind: basic, user: elm, password: open-sesame }\npatient:";
    Problem problem = problem(SMALL.replace("patient:", open));
    assertThat(problem.line()).isEqualTo(4);
    assertThat(problem.toString())
        .contains("a secret must not stand in this file")
        .doesNotContain("sesame");
    assertThat(
            problem(SMALL.replace("patient:", "  auth: { kind: bearer, token: abc }\npatient:"))
                .message())
        .contains("${NAME}");
  }

  @Test
  void a_variable_that_is_missing_is_named() {
    String auth = "  auth: { kind: bearer, token: \"${FHIR_TOKEN}\" }\npatient:";
    assertThat(problems(SMALL.replace("patient:", auth)))
        .anySatisfy(p -> assertThat(p.message()).contains("no variable FHIR_TOKEN"));
    String file = "  auth: { kind: bearer, token: \"${file:token.txt}\" }\npatient:";
    assertThat(problems(SMALL.replace("patient:", file)))
        .anySatisfy(p -> assertThat(p.message()).contains("the file token.txt cannot be read"));
  }

  @Test
  void a_token_in_a_file_is_read_for_each_use_and_never_shown() throws Exception {
    Path token = Files.writeString(folder.resolve("token.txt"), "first\n");
    Settings settings =
        read(
            SMALL.replace(
                "patient:", "  auth: { kind: bearer, token: \"${file:token.txt}\" }\npatient:"));
    assertThat(header(settings)).isEqualTo("Bearer first");
    Files.writeString(token, "second");
    assertThat(header(settings)).isEqualTo("Bearer second");
    assertThat(settings.toString()).doesNotContain("first", "second");
    Files.delete(token);
    assertThatThrownBy(() -> header(settings))
        .isInstanceOf(CisternException.class)
        .hasMessageContaining("token.txt cannot be read");
  }

  @Test
  void a_key_of_another_kind_of_authentication_is_a_problem() {
    String auth = "  auth: { kind: bearer, token: \"${SECRET}\", user: elm }\npatient:";
    assertThat(problem(SMALL.replace("patient:", auth)).message())
        .isEqualTo("the kind bearer has no user; it belongs to kind basic");
  }

  @Test
  void a_token_address_that_is_none_is_a_problem() {
    String auth =
        "  auth: { kind: smart-backend, clientId: c, key: k.pem, tokenUrl: nowhere }\npatient:";
    assertThat(problem(SMALL.replace("patient:", auth)).message()).contains("not an address");
  }

  @Test
  void smart_backend_needs_a_client_and_a_key() {
    String auth = "  auth: { kind: smart-backend }\npatient:";
    assertThat(problems(SMALL.replace("patient:", auth)))
        .extracting(Problem::message)
        .containsExactlyInAnyOrder(
            "smart-backend needs the file of a private key", "smart-backend needs a clientId");
  }

  @Test
  void a_store_needs_a_password_that_does_not_stand_in_the_file() {
    assertThat(problem(SMALL.replace("patient:", "  tls: { keystore: k.p12 }\npatient:")).message())
        .isEqualTo("a keystore needs a password");
    String open = "  tls: { keystore: k.p12, keystorePassword: sesame }\npatient:";
    assertThat(problem(SMALL.replace("patient:", open)).toString())
        .contains("a secret must not stand in this file")
        .doesNotContain("sesame");
    String alone = "  tls: { truststorePassword: \"${SECRET}\" }\npatient:";
    assertThat(problem(SMALL.replace("patient:", alone)).message()).contains("opens nothing");
  }

  @Test
  void certificates_in_pem_need_no_password() throws Exception {
    Settings settings = read(SMALL.replace("patient:", "  tls: { truststore: ca.pem }\npatient:"));
    assertThat(store(settings.fhir().tls().truststore()).file())
        .isEqualTo(folder.resolve("ca.pem"));
  }

  @Test
  void an_address_without_a_host_is_a_problem_at_its_place() {
    Problem problem = problem(SMALL.replace("http://127.0.0.1:8090/fhir", "http://" + "/fhir"));
    assertThat(problem.line()).isEqualTo(3);
  }

  @Test
  void a_slash_at_the_end_of_the_address_does_not_matter() throws Exception {
    assertThat(read(SMALL.replace("/fhir\n", "/fhir/\n")).fhir().base())
        .isEqualTo(URI.create("http://127.0.0.1:8090/fhir"));
  }

  @Test
  void a_file_that_is_not_there_is_named() {
    assertThatThrownBy(() -> SettingsFile.read(folder.resolve("nowhere.yaml"), Map.of()))
        .isInstanceOf(CisternException.class)
        .hasMessageContaining("nowhere.yaml");
  }
}
