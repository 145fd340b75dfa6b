// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.work;

import dev.cistern.check.Checks;
import dev.cistern.check.Policy;
import dev.cistern.fhir.CodeBook;
import dev.cistern.fhir.InterpretationTable;
import dev.cistern.fhir.Release;
import dev.cistern.fhir.ResourceBuilder;
import dev.cistern.fhir.StandardCodes;
import dev.cistern.fhir.Terms;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.mapping.Mapping;
import dev.cistern.plant.Plant;
import dev.cistern.refine.Impact;
import dev.cistern.refine.Preview;
import dev.cistern.refine.Refinery;
import dev.cistern.refine.Replay;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Refined;
import dev.cistern.scan.Scan;
import dev.cistern.scan.Volume;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.TreeMap;
import java.util.TreeSet;
import org.jspecify.annotations.Nullable;

/**
 * Tries a changed policy or code table on a sample, and weighs it against entries that are there:
 * what it alone would change. Writes nothing.
 */
public final class SiteTrial {
  private final Plant plant;
  private final SiteDesk desk;

  public SiteTrial(Plant plant, SiteDesk desk) {
    this.plant = plant;
    this.desk = desk;
  }

  /** What would become of a sample, read under a mapping, in a throw-away ledger. */
  public List<Preview.Shown> tried(
      SiteText which, String text, Mapping mapping, byte[] sample, int most) {
    return SampleTrial.of(sample, most)
        .under(
            switch (which) {
              case POLICY ->
                  Preview.open(mapping, refinery(desk.policy(text)), plant.fhir(), plant.clock());
              case CODES ->
                  Preview.open(
                      mapping,
                      plant.refinery(),
                      plant.fhir().coding(desk.codes(text)),
                      plant.clock());
            },
            SampleTrial.typeOf(mapping));
  }

  /** What it would do to entries that are there. */
  public ImpactWalk walk(SiteText which, String text) {
    return switch (which) {
      case POLICY -> new ImpactWalk(plant, policy(desk.policy(text)));
      case CODES -> new ImpactWalk(plant, codes(desk.codes(text)));
    };
  }

  private Refinery refinery(Policy policy) {
    return plant.refinery().under(Checks.under(policy));
  }

  private ImpactWalk.Trial policy(Policy changed) {
    Policy now = plant.refinery().checks().policy();
    Replay before = plant.replay().by(refinery(now));
    Replay after = plant.replay().by(refinery(changed));
    InterpretationTable calledNow = Plant.interpretation(now);
    InterpretationTable calledThen = Plant.interpretation(changed);
    return entry -> {
      Refined was = before.dry(entry, Map.of());
      Refined is = after.dry(entry, Map.of());
      List<Impact.Difference> differences = new ArrayList<>(Impact.between(was, is));
      compare(weights(was), weights(is), differences);
      String called = called(calledNow, was.scan());
      String then = called(calledThen, is.scan());
      if (!called.equals(then)) {
        differences.add(new Impact.Difference("interpretation", called, then));
      }
      return new Impact.Change(is.accepted() ? "ready" : "rejected", differences);
    };
  }

  private static Map<String, String> weights(Refined refined) {
    Map<String, String> weights = new TreeMap<>();
    for (Finding finding : refined.findings()) {
      weights.put("finding " + finding.code(), finding.severity().code());
    }
    return weights;
  }

  private static String called(InterpretationTable table, Scan scan) {
    Volume volume = scan.measurement().volume();
    InterpretationTable.Row row =
        volume == null ? null : table.find(scan.measurement().purpose(), volume);
    return row == null ? "nothing" : row.code() + " by " + table.title();
  }

  /** Rejected entries have no codes before they are accepted. */
  private ImpactWalk.Trial codes(CodeBook changed) {
    ResourceBuilder builder = new ResourceBuilder(plant.fhir());
    CodeBook now = plant.postbox().terms().codes();
    return entry -> {
      Release release = sendable(entry);
      if (release == null) {
        return null;
      }
      List<Impact.Difference> differences = new ArrayList<>();
      compare(codes(builder, release, now), codes(builder, release, changed), differences);
      return new Impact.Change(entry.state().code(), differences);
    };
  }

  private @Nullable Release sendable(Entry entry) {
    boolean sent = entry.state() == EntryState.DELIVERED || entry.state() == EntryState.READY;
    return sent ? plant.postbox().parcels().unresolved(entry) : null;
  }

  private Map<String, String> codes(ResourceBuilder builder, Release release, CodeBook book) {
    Terms terms = new Terms(book, InterpretationTable.NONE);
    return StandardCodes.of(builder, release.by(terms), plant.fhir().derived());
  }

  private static void compare(
      Map<String, String> before, Map<String, String> after, List<Impact.Difference> differences) {
    TreeSet<String> names = new TreeSet<>(before.keySet());
    names.addAll(after.keySet());
    for (String name : names) {
      String old = before.getOrDefault(name, "nothing");
      String now = after.getOrDefault(name, "nothing");
      if (!old.equals(now)) {
        differences.add(new Impact.Difference(name, old, now));
      }
    }
  }
}
