// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import dev.cistern.ledger.Entry;
import dev.cistern.ledger.MappingVersions;
import dev.cistern.mapping.CodeTable;
import dev.cistern.mapping.Mapping;
import dev.cistern.refine.Impact;
import dev.cistern.refine.Preview;
import dev.cistern.scan.Volume;
import dev.cistern.work.ImpactWalk;
import java.time.Duration;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import org.jspecify.annotations.Nullable;

/**
 * One mapping on the desk.
 *
 * @param text as it stands in the editor
 * @param before SHA-256 of the text in use when the editor was opened
 * @param tables its own code tables, by name
 * @param problems what is wrong with the text; empty where nothing is, or nobody asked
 * @param tried what became of the sample; null where none was tried
 * @param effect what it would do to entries that are there; null where nobody asked
 */
public record DeskPage(
    String name,
    String title,
    List<String> sources,
    String text,
    String before,
    String sample,
    Map<String, CodeTable> tables,
    List<MappingVersions.Version> versions,
    List<String> problems,
    @Nullable List<Row> tried,
    @Nullable Effect effect) {
  public DeskPage {
    sources = List.copyOf(sources);
    tables = Map.copyOf(tables);
    versions = List.copyOf(versions);
    problems = List.copyOf(problems);
  }

  /** One entry of the sample. */
  public record Row(Preview.Shown shown) {
    public String kind() {
      return switch (shown.outcome()) {
        case "ready" -> "good";
        case "rejected" -> "bad";
        default -> "wait";
      };
    }

    public String volume() {
      Volume volume = shown.scan().measurement().volume();
      if (volume == null) {
        return "none";
      }
      String side = volume.comparator() == null ? "" : volume.comparator().code();
      return side + volume.millilitres().toPlainString() + " mL";
    }

    /** The standard codes that would be sent, {@code system|code}; none where nothing would be. */
    public List<String> codes() {
      String bundle = shown.bundle();
      return bundle == null ? List.of() : CodesInBundle.standard(bundle);
    }

    /** Never shows what it holds. */
    @Override
    public String toString() {
      return "Row[" + shown.number() + "]";
    }
  }

  /** One entry that would change. */
  public record Changed(Entry entry, Impact.Change change) {
    /** Never shows the difference: it may be a patient's. */
    @Override
    public String toString() {
      return "Changed[" + entry.id() + "]";
    }
  }

  /** What it would do; the first of those that would change are shown. */
  public record Effect(ImpactWalk walk, List<Changed> shown) {
    private static final int MOST_CHANGES = 100;
    private static final int DELIVERED = 500;

    /** Longer, nobody waits before a page. */
    private static final Duration LONGEST = Duration.ofSeconds(15);

    /** Walks: every rejected entry, and the latest {@value #DELIVERED} delivered ones. */
    static Effect of(ImpactWalk walk) {
      List<Changed> shown = new ArrayList<>();
      walk.walk(
          DELIVERED,
          LONGEST,
          (entry, change) -> {
            if (shown.size() < MOST_CHANGES) {
              shown.add(new Changed(entry, change));
            }
          });
      return new Effect(walk, shown);
    }

    public Effect {
      shown = List.copyOf(shown);
    }
  }

  static DeskPage of(
      Mapping mapping,
      List<String> sources,
      String text,
      String before,
      List<MappingVersions.Version> versions) {
    return new DeskPage(
        mapping.name(),
        mapping.title(),
        sources,
        text,
        before,
        "",
        mapping.codes(),
        versions,
        List.of(),
        null,
        null);
  }

  DeskPage with(String other, String otherSample, List<String> wrong) {
    return new DeskPage(
        name, title, sources, other, before, otherSample, tables, versions, wrong, tried, effect);
  }

  DeskPage trying(List<Row> rows) {
    return new DeskPage(
        name, title, sources, text, before, sample, tables, versions, problems, rows, effect);
  }

  DeskPage doing(Effect seen) {
    return new DeskPage(
        name, title, sources, text, before, sample, tables, versions, problems, tried, seen);
  }

  /** Never shows the sample: it may hold a patient's data. */
  @Override
  public String toString() {
    return "DeskPage[" + name + "]";
  }
}
