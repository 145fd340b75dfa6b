// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.refine;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.json.Json;
import dev.cistern.json.ScanJson;
import dev.cistern.ledger.Entry;
import dev.cistern.mapping.Mapping;
import dev.cistern.scan.Refined;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.TreeSet;

/** What a changed mapping would do to entries that are there already. */
public final class Impact {
  private final Replay replay;
  private final Mapping mapping;

  public Impact(Replay replay, Mapping mapping) {
    this.replay = replay;
    this.mapping = mapping;
  }

  /** A canonical field, or {@code code}, as it is and as it would be. */
  public record Difference(String field, String before, String after) {}

  /**
   * What would become of one entry.
   *
   * @param outcome ready or rejected
   */
  public record Change(String outcome, List<Difference> differences) {
    public Change {
      differences = List.copyOf(differences);
    }

    public boolean nothing() {
      return differences.isEmpty();
    }
  }

  public Change on(Entry entry) {
    return between(entry, replay.dry(entry, Map.of(), mapping));
  }

  /** How an entry differs from what refining it again gave. */
  public static Change between(Entry entry, Refined refined) {
    List<Difference> differences = new ArrayList<>();
    String before = entry.code() == null ? "none" : entry.code();
    String after = code(refined);
    if (!before.equals(after)) {
      differences.add(new Difference("code", before, after));
    }
    String scan = entry.scanJson();
    if (scan != null) {
      compare(Json.tree(scan), Json.tree(ScanJson.write(refined.scan())), differences);
    }
    return new Change(refined.accepted() ? "ready" : "rejected", differences);
  }

  /** How what refining gave differs from what it gave under something else. */
  public static List<Difference> between(Refined before, Refined after) {
    List<Difference> differences = new ArrayList<>();
    String old = code(before);
    String now = code(after);
    if (!old.equals(now)) {
      differences.add(new Difference("code", old, now));
    }
    compare(
        Json.tree(ScanJson.write(before.scan())),
        Json.tree(ScanJson.write(after.scan())),
        differences);
    return differences;
  }

  private static String code(Refined refined) {
    String code = refined.rejectedBy();
    return code == null ? "none" : code;
  }

  private static void compare(JsonNode before, JsonNode after, List<Difference> differences) {
    TreeSet<String> names = new TreeSet<>();
    before.fieldNames().forEachRemaining(names::add);
    after.fieldNames().forEachRemaining(names::add);
    names.remove("asSent");
    for (String name : names) {
      String old = text(before.path(name));
      String now = text(after.path(name));
      if (!old.equals(now)) {
        differences.add(new Difference(name, old, now));
      }
    }
  }

  private static String text(JsonNode node) {
    if (node.isMissingNode() || node.isNull()) {
      return "nothing";
    }
    return node.isValueNode() ? node.asText() : node.toString();
  }
}
