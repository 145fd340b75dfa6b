// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.scan.CisternException;
import dev.cistern.scan.Coded;
import dev.cistern.scan.Reason;
import dev.cistern.scan.Severity;
import dev.cistern.yaml.Suggestion;
import dev.cistern.yaml.YamlFile;
import dev.cistern.yaml.YamlProblems;
import java.io.IOException;
import java.io.InputStream;
import java.nio.charset.StandardCharsets;
import java.nio.file.Path;
import java.util.Collection;
import java.util.HashMap;
import java.util.LinkedHashMap;
import java.util.Map;
import java.util.Optional;
import org.jspecify.annotations.Nullable;

/**
 * Reads a policy file. What it does not set is as shipped, except for the fleet, the severities and
 * the interpretation, which are empty then.
 */
public final class PolicyFile {
  private static final String SCHEMA = "schema/policy.schema.json";
  private static final String SHIPPED = "policy/shipped.yaml";

  private final Map<String, Reason> known = new LinkedHashMap<>();
  private final @Nullable Policy base;

  private PolicyFile(Collection<? extends Reason> reasons, @Nullable Policy base) {
    // Two stages may share a code; it is fixed where one of them says so.
    reasons.forEach(r -> known.merge(r.code(), r, (a, b) -> a.fixed() ? a : b));
    this.base = base;
  }

  /**
   * A reader that knows what can be found.
   *
   * @param reasons every reason of every stage, so that a severity can be set for each and a code
   *     that does not exist is noticed
   */
  public static PolicyFile knowing(Collection<? extends Reason> reasons) {
    return new PolicyFile(reasons, Policy.shipped());
  }

  static Policy shipped() {
    return new PolicyFile(Checks.reasons(), null)
        .parse(YamlFile.parse(SHIPPED, shippedText().getBytes(StandardCharsets.UTF_8)));
  }

  /** The text of the policy that is shipped, to start from. */
  public static String shippedText() {
    try (InputStream in = PolicyFile.class.getClassLoader().getResourceAsStream(SHIPPED)) {
      if (in == null) {
        throw new CisternException(SHIPPED + " is not in the program; install it again.");
      }
      return new String(in.readAllBytes(), StandardCharsets.UTF_8);
    } catch (IOException e) {
      throw new CisternException(SHIPPED + " cannot be read; install the program again.", e);
    }
  }

  /**
   * Reads a policy file.
   *
   * @throws YamlProblems with everything that is wrong in the file
   * @throws CisternException where it cannot be read at all
   */
  public Policy read(Path file) {
    return parse(YamlFile.read(file));
  }

  /**
   * Takes the policy out of a file that was read.
   *
   * @throws YamlProblems with everything that is wrong in the file
   */
  public Policy parse(YamlFile file) {
    file.require(SCHEMA);
    PolicyReader reader = new PolicyReader(file);
    JsonNode tree = file.tree();
    Limits limits = reader.limits(tree, base == null ? Map.of() : base.limits().general());
    Policy policy =
        new Policy(
            reader.text("/policy"),
            reader.text("/version"),
            reader.signature(),
            limits,
            new Fleet(reader.devices(tree.path("devices")), reader.ranges(tree.path("ranges"))),
            severities(tree.path("severities"), reader),
            Coded.of(CheckDigits.class, tree.at("/patientNumber/checkDigit").asText("none"))
                .orElse(CheckDigits.NONE),
            reader.interpretation(tree.path("interpretation")));
    if (!reader.problems().isEmpty()) {
      throw new YamlProblems(reader.problems());
    }
    return policy;
  }

  private Map<String, Severity> severities(JsonNode node, PolicyReader reader) {
    Map<String, Severity> severities = new HashMap<>();
    node.fields()
        .forEachRemaining(
            entry -> {
              String pointer = YamlFile.child("/severities", entry.getKey());
              Reason reason = known.get(entry.getKey());
              if (reason == null) {
                reader.wrongKey(
                    pointer,
                    "there is no finding \""
                        + entry.getKey()
                        + "\""
                        + Suggestion.didYouMean(entry.getKey(), known.keySet()));
              } else if (reason.fixed()) {
                reader.wrongKey(
                    pointer,
                    "the severity of \"" + entry.getKey() + "\" is fixed; remove the line");
              } else {
                severity(entry.getValue()).ifPresent(s -> severities.put(entry.getKey(), s));
              }
            });
    return severities;
  }

  private static Optional<Severity> severity(JsonNode node) {
    return Coded.of(
        Severity.class, node.isTextual() ? node.asText() : node.path("severity").asText());
  }
}
