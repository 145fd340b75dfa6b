// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import dev.cistern.ledger.Desk;
import dev.cistern.ledger.EntryState;
import dev.cistern.refine.Impact;
import dev.cistern.scan.Finding;
import dev.cistern.work.Dossier;
import java.util.List;
import java.util.Map;
import org.jspecify.annotations.Nullable;

/**
 * One entry on one page.
 *
 * @param bundle what would be, or was, sent, as pretty JSON; null where nothing would
 * @param mayChange whether the person may amend, replay and discard, and the entry is open for it
 * @param typed what the person typed into the fields, kept while they try
 * @param trial what would become of the entry with it; null where they did not try
 */
public record EntrySheet(
    Dossier dossier,
    List<FieldRow> rows,
    List<LifeEvent> life,
    @Nullable String bundle,
    boolean mayChange,
    boolean urgent,
    Map<String, String> typed,
    @Nullable Trial trial) {
  public EntrySheet {
    rows = List.copyOf(rows);
    life = List.copyOf(life);
    typed = Map.copyOf(typed);
  }

  /** What a dry run came to. */
  public record Trial(
      boolean accepted, List<Impact.Difference> differences, List<Finding> rejecting) {
    public Trial {
      differences = List.copyOf(differences);
      rejecting = List.copyOf(rejecting);
    }

    /** Never shows the differences: they may be a patient's. */
    @Override
    public String toString() {
      return "Trial[" + accepted + "]";
    }
  }

  /** Rejected first, then the rest; those about no single field are not repeated beside one. */
  public List<Finding> rejecting() {
    return dossier.entry().findings().stream().filter(Finding::rejects).toList();
  }

  public List<Finding> general() {
    return dossier.entry().findings().stream()
        .filter(f -> f.field() == null && !f.rejects())
        .toList();
  }

  public String raw() {
    String raw = dossier.raw();
    return raw == null ? "The bytes were purged." : Printable.text(raw);
  }

  public String volume() {
    return QueuePage.volumeOf(dossier.entry());
  }

  public boolean mayDiscard() {
    return mayChange && dossier.entry().state() == EntryState.REJECTED;
  }

  public boolean mayAmend() {
    return mayChange && dossier.entry().state() != EntryState.SUPERSEDED;
  }

  public String typed(FieldRow row) {
    return typed.getOrDefault(row.field().key(), "");
  }

  static boolean open(Dossier dossier) {
    return Desk.open(dossier.entry()) && dossier.raw() != null;
  }

  static String kind(EntryState state) {
    return switch (state) {
      case DELIVERED -> "good";
      case REJECTED -> "bad";
      case WAITING, READY -> "wait";
      default -> "";
    };
  }

  public String stateKind() {
    return kind(dossier.entry().state());
  }

  /** Never shows what it holds. */
  @Override
  public String toString() {
    return "EntrySheet[" + dossier.entry().id() + "]";
  }
}
