// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.config;

import dev.cistern.scan.Derived;
import dev.cistern.scan.Field;
import java.net.URI;
import java.nio.file.Path;
import java.time.Duration;
import java.time.ZoneId;
import java.util.List;
import java.util.Locale;
import java.util.Map;
import java.util.Set;
import java.util.function.Supplier;
import org.jspecify.annotations.Nullable;

/** Everything that can be set, as {@code cistern.yaml} says it. Paths are absolute. */
public record Settings(
    Path file,
    String node,
    Path data,
    @Nullable Shared store,
    Path mappings,
    @Nullable Path codes,
    @Nullable Path policy,
    Http http,
    Access access,
    Console console,
    Alarm alarm,
    Fhir fhir,
    Patient patient,
    Retention retention,
    Trail trail,
    @Nullable Topic publish,
    List<Source> sources) {
  /** What the policy is called beside the settings, where they do not name one. */
  public static final String POLICY = "policy.yaml";

  /** The same for the code table. */
  public static final String CODES = "codes.csv";

  public Settings {
    sources = List.copyOf(sources);
  }

  /** Where the site's policy is, or would be. */
  public Path policyFile() {
    return policy == null ? file.resolveSibling(POLICY) : policy;
  }

  /** Where the site's code table is, or would be. */
  public Path codesFile() {
    return codes == null ? file.resolveSibling(CODES) : codes;
  }

  /**
   * A PostgreSQL database that holds the ledger, for several nodes.
   *
   * @param user null where the address says it, or the server asks for none
   * @param password asked for each connection; gives null where there is none
   */
  public record Shared(String url, @Nullable String user, Supplier<@Nullable String> password) {
    /** Never shows the address or the password. */
    @Override
    public String toString() {
      return "Shared[set]";
    }
  }

  /**
   * Where the adapter listens.
   *
   * @param tls a PKCS #12 file with its certificate and key; null for a plain connection
   */
  public record Http(String bind, int port, int largestForm, @Nullable KeyFile tls) {}

  /**
   * Who is asked who they are, and for how long that holds.
   *
   * @param formsAsked whether a form post needs a token or a signed-in person
   * @param idle how long a session lasts without a request
   * @param longest how long a session lasts at all
   * @param proxy whether a proxy that ends TLS stands in front
   * @param signOn where people sign in elsewhere; null for nowhere
   */
  public record Access(
      boolean formsAsked, Duration idle, Duration longest, boolean proxy, @Nullable SignOn signOn) {
    public static final Access SHIPPED =
        new Access(false, Duration.ofMinutes(20), Duration.ofHours(12), false, null);
  }

  /**
   * An OpenID Connect provider that says who somebody is.
   *
   * @param base our own address, as browsers see it
   * @param secret what we show at the token endpoint, asked for each time; null for nothing
   * @param words what the button calls it
   */
  public record SignOn(
      URI issuer,
      URI base,
      String clientId,
      @Nullable Supplier<String> secret,
      SignOnClaims claims,
      String words) {
    /** Never shows the secret. */
    @Override
    public String toString() {
      return "SignOn[" + issuer + "]";
    }
  }

  /**
   * What is asked for and how it is read.
   *
   * @param scope what is asked for, with blanks between
   * @param algorithm of the signature of ID tokens
   * @param name the claim that names the account
   * @param roles the claim that names groups; dots lead into objects
   * @param groups group to the words of our roles
   */
  public record SignOnClaims(
      String scope, String algorithm, String name, String roles, Map<String, List<String>> groups) {
    public SignOnClaims {
      groups = Map.copyOf(groups);
    }
  }

  /**
   * What the console counts by.
   *
   * @param zone the zone whose days it counts and narrows by
   * @param silent after how long without a result a scanner counts as silent
   */
  public record Console(ZoneId zone, Duration silent) {
    public static final Console SHIPPED = new Console(ZoneId.systemDefault(), Duration.ofDays(2));
  }

  /**
   * Who is told that urgent results wait.
   *
   * @param url where it is posted to; null for nowhere
   * @param repeat how often again, while they wait
   */
  public record Alarm(@Nullable URI url, Duration repeat) {
    public static final Alarm NONE = new Alarm(null, Duration.ofHours(1));

    /** Never shows the address: it may carry a secret. */
    @Override
    public String toString() {
      return "Alarm[" + (url == null ? "none" : "set") + "]";
    }
  }

  /** How results are written once. */
  public enum Mode {
    AUTO,
    PUT,
    CONDITIONAL_CREATE;

    static Mode read(String word) {
      return valueOf(word.replace('-', '_').toUpperCase(Locale.ROOT));
    }

    public String word() {
      return name().replace('_', '-').toLowerCase(Locale.ROOT);
    }
  }

  /**
   * The server that takes the results.
   *
   * @param derived what is computed from a result and written beside it
   */
  public record Fhir(
      URI base,
      Mode mode,
      int bundle,
      int workers,
      Duration timeout,
      int largestAnswer,
      String system,
      boolean snomed,
      List<Derived> derived,
      Auth auth,
      Tls tls) {
    public Fhir {
      derived = List.copyOf(derived);
    }
  }

  /** How the adapter says who it is. */
  public sealed interface Auth {
    Auth NONE = new Nobody();

    /** The word in the settings. */
    String kind();
  }

  /** It does not. */
  public record Nobody() implements Auth {
    @Override
    public String kind() {
      return "none";
    }
  }

  /**
   * By what is written in the settings, the environment or a file.
   *
   * @param header the value of the Authorization header, asked for each request
   */
  public record Written(String kind, Supplier<String> header) implements Auth {
    /** Never shows the secret. */
    @Override
    public String toString() {
      return "Written[" + kind + "]";
    }
  }

  /**
   * By tokens that it is given for a signature (SMART Backend Services).
   *
   * @param key the file of the private key
   * @param keyId null where the file says it
   * @param tokenUrl null where the server says it
   */
  public record SmartBackend(
      String clientId,
      Path key,
      String algorithm,
      @Nullable String keyId,
      String scope,
      @Nullable URI tokenUrl)
      implements Auth {
    @Override
    public String kind() {
      return "smart-backend";
    }
  }

  /**
   * The certificates of the connection.
   *
   * @param keystore our key and certificate; null where we show none
   * @param truststore whom we trust; null for the authorities that Java trusts
   * @param warn how long before a certificate ends we say so
   */
  public record Tls(@Nullable Store keystore, @Nullable Store truststore, Duration warn) {
    public static final Tls USUAL = new Tls(null, null, Duration.ofDays(30));
  }

  /** A file of certificates, and what opens it. */
  public record Store(Path file, Supplier<String> password) {
    /** Never shows the secret. */
    @Override
    public String toString() {
      return "Store[" + file + "]";
    }
  }

  /** How a patient number becomes a patient. */
  public enum Reference {
    LOOKUP,
    CONDITIONAL,
    LOGICAL
  }

  /** How patients are known. */
  public record Patient(
      String system,
      Reference reference,
      String checkDigit,
      @Nullable String encounterSystem,
      @Nullable String operatorSystem) {}

  /**
   * How many days results are kept after they came to their end; null keeps them for ever.
   *
   * @param rawDays the bytes as they were received
   * @param patientDataDays scans, findings, amendments, and the old and new values on the trail
   */
  public record Retention(@Nullable Integer rawDays, @Nullable Integer patientDataDays) {
    public boolean off() {
      return rawDays == null && patientDataDays == null;
    }
  }

  /**
   * Where the head of the audit trail is shipped to.
   *
   * @param every how often, where the trail went on
   */
  public record Trail(Duration every, List<Ship> ship) {
    public Trail {
      ship = List.copyOf(ship);
    }
  }

  /** One way off this host for the head of the trail. */
  public sealed interface Ship {}

  /** Appended to a file. */
  public record ShipToFile(Path path) implements Ship {}

  /**
   * Posted to an address.
   *
   * @param secret what the post is sealed with, asked for each time
   */
  public record ShipToWebhook(URI url, Supplier<String> secret) implements Ship {
    /** Never shows the secret, nor what may stand in the address. */
    @Override
    public String toString() {
      return "ShipToWebhook[" + url.getHost() + "]";
    }
  }

  /** Sent as syslog messages, over TCP or else UDP. */
  public record ShipToSyslog(String host, int port, boolean tcp) implements Ship {}

  /** One feed. */
  public sealed interface Source {
    String name();

    String kind();

    /** The name of its mapping. */
    String mapping();
  }

  /** Files that arrive in a folder. */
  public record Folder(
      String name,
      String mapping,
      Path path,
      String pattern,
      boolean recursive,
      Duration settle,
      Duration poll,
      String done)
      implements Source {
    @Override
    public String kind() {
      return "folder";
    }
  }

  /**
   * Files that arrive in a folder on another host.
   *
   * @param path as that host writes it
   */
  public record Sftp(
      String name,
      String mapping,
      SftpServer server,
      String path,
      String pattern,
      Duration settle,
      Duration poll,
      String done)
      implements Source {
    @Override
    public String kind() {
      return "sftp";
    }
  }

  /**
   * Where such a folder is, and who we are there.
   *
   * @param knownHosts the file with the keys that the server may show
   * @param key our private key and what opens it, an empty word where nothing does; null where we
   *     say a password
   * @param password asked for each connection; an empty word where there is a key
   */
  public record SftpServer(
      String host,
      int port,
      String user,
      Path knownHosts,
      @Nullable KeyFile key,
      Supplier<String> password) {
    /** Never shows a secret. */
    @Override
    public String toString() {
      return "SftpServer[" + host + ":" + port + "]";
    }
  }

  /**
   * A topic of a Kafka broker, and how we get there.
   *
   * @param servers host:port, with commas between
   * @param largestRecord bytes
   * @param tls null for a plain connection
   * @param sasl null where the broker asks for no name
   */
  public record Topic(
      String servers,
      String name,
      int largestRecord,
      @Nullable TopicTls tls,
      @Nullable Sasl sasl) {}

  /**
   * The certificates of the connection to a broker.
   *
   * @param keystore our key and certificate; null where we show none
   * @param truststore whom we trust; null for the authorities that Java trusts
   */
  public record TopicTls(@Nullable Store keystore, @Nullable Store truststore) {}

  /** Who we are at a broker. */
  public record Sasl(String mechanism, String user, Supplier<String> password) {
    /** Never shows the secret. */
    @Override
    public String toString() {
      return "Sasl[" + mechanism + "]";
    }
  }

  /**
   * Records of a topic.
   *
   * @param mapping of records that no node of ours published
   * @param group which nodes share the topic's partitions among them
   */
  public record Kafka(String name, String mapping, Topic topic, String group) implements Source {
    @Override
    public String kind() {
      return "kafka";
    }
  }

  /**
   * What another node took under this name, and published to a topic that we read.
   *
   * @param through the source that reads the topic
   */
  public record Relayed(String name, String mapping, String through) implements Source {
    @Override
    public String kind() {
      return "relayed";
    }
  }

  /**
   * Results that are posted to {@code /forms/NAME}.
   *
   * @param unfold questions that its page asks of everybody, although a result is whole without
   */
  public record Form(String name, String mapping, Set<Field> unfold) implements Source {
    public Form {
      unfold = Set.copyOf(unfold);
    }

    @Override
    public String kind() {
      return "form";
    }
  }

  /** FHIR Observations that are posted to {@code /fhir-in/NAME}. */
  public record FhirIn(String name, String mapping) implements Source {
    @Override
    public String kind() {
      return "fhir";
    }
  }

  /** When a sender of messages is told that something is wrong. */
  public enum Acknowledge {
    /** AE where a result was kept but not understood. */
    MAPPED,
    /** AA as soon as the message is kept; what is wrong stands in the queue only. */
    STORED
  }

  /**
   * HL7 v2 messages that come over connections (MLLP).
   *
   * @param connections at most so many senders at once
   * @param largestMessage bytes
   * @param idle after so long without a message a connection is closed; zero for never
   * @param tls null for a plain connection
   */
  public record Mllp(
      String name,
      String mapping,
      String bind,
      int port,
      int connections,
      int largestMessage,
      Duration idle,
      Acknowledge acknowledge,
      @Nullable ListenerTls tls)
      implements Source {
    @Override
    public String kind() {
      return "mllp";
    }
  }

  /**
   * The certificate of a listener.
   *
   * @param keystore a PKCS #12 file with the certificate and its key
   * @param clients a PKCS #12 file with the certificates (or their issuers) of the clients that may
   *     connect; null lets every client connect
   */
  public record ListenerTls(KeyFile keystore, @Nullable KeyFile clients) {}

  /** A PKCS #12 file and its password, which is asked for each use. */
  public record KeyFile(Path path, Supplier<String> password) {
    /** Never shows the password. */
    @Override
    public String toString() {
      return "KeyFile[" + path + "]";
    }
  }

  /** The file of a mapping. */
  public Path mappingFile(String mapping) {
    return mappings.resolve(mapping + ".yaml");
  }
}
