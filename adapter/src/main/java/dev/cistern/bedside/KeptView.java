// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bedside;

import dev.cistern.bedside.Question.Choice;
import dev.cistern.ledger.EntryState;
import dev.cistern.refine.FormDesk;
import dev.cistern.scan.Finding;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import org.jspecify.annotations.Nullable;

/**
 * What became of a post that was kept.
 *
 * @param entry null where another node is to keep it
 * @param again whether this very post was kept before
 * @param next the address of the next form
 */
public record KeptView(
    @Nullable Long entry,
    EntryState state,
    boolean again,
    List<Finding> findings,
    List<Said> said,
    String next) {

  /** One question and what was answered. */
  public record Said(String label, String text) {}

  public KeptView {
    findings = List.copyOf(findings);
    said = List.copyOf(said);
  }

  static KeptView of(FormDesk.Answer.Kept kept, FormView form) {
    return new KeptView(
        kept.entry(), kept.state(), false, kept.findings(), said(form), form.next());
  }

  static KeptView of(FormDesk.Answer.Again again, FormView form) {
    return new KeptView(
        again.entry(), again.state(), true, again.findings(), said(form), form.next());
  }

  static KeptView of(FormDesk.Answer.Published published, FormView form) {
    return new KeptView(
        null, EntryState.WAITING, false, published.findings(), said(form), form.next());
  }

  /** In a few words what became of it. */
  public String title() {
    return entry == null ? "Sent." : "Kept as entry " + entry + ".";
  }

  public String words() {
    return entry == null ? Wording.PUBLISHED : Wording.state(state);
  }

  /** Whether it goes its way without a person. */
  public boolean isWell() {
    return state != EntryState.REJECTED && state != EntryState.RETURNED;
  }

  private static List<Said> said(FormView form) {
    List<Said> said = new ArrayList<>();
    for (Map.Entry<Section, List<Question>> part : form.parts().entrySet()) {
      for (Question question : part.getValue()) {
        String text = text(question, form.typed().of(question));
        if (text != null) {
          said.add(new Said(question.label(), text));
        }
      }
    }
    return said;
  }

  private static @Nullable String text(Question question, List<String> typed) {
    List<String> words = new ArrayList<>();
    for (String each : typed) {
      if (!each.isBlank()) {
        words.add(
            question.choices().stream()
                .filter(choice -> choice.value().equals(each))
                .map(Choice::label)
                .findFirst()
                .orElse(written(question, each)));
      }
    }
    return words.isEmpty() ? null : String.join(", ", words);
  }

  private static String written(Question question, String text) {
    if (question.control() == Question.Control.TIME) {
      return text.replace('T', ' ');
    }
    return question.unit() == null ? text : text + " " + question.unit();
  }

  /** Never shows what was typed. */
  @Override
  public String toString() {
    return "KeptView[entry " + entry + "]";
  }
}
