// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bedside;

import dev.cistern.mapping.Format;
import dev.cistern.mapping.Mapping;
import dev.cistern.page.Page;
import dev.cistern.refine.Feeds;
import dev.cistern.refine.FormDesk;
import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import java.util.List;
import java.util.Map;
import java.util.Set;
import java.util.UUID;
import org.jspecify.annotations.Nullable;

/** The pages at {@code /forms/{source}}: the form, and what became of a post of it. */
public final class BedsidePages {
  /**
   * What a form brings back unseen.
   *
   * @param key its idempotency key
   * @param check see {@link FormView}
   */
  public record Wire(String key, String check) {}

  /** A page and the status that it is answered with. */
  public record Answer(int status, Page page) {}

  private final Feeds feeds;
  private final Map<String, Set<Field>> forms;
  private final Seal seal;

  /**
   * @param forms the sources that are forms, each with the questions that it does not fold away
   */
  public BedsidePages(Feeds feeds, Map<String, Set<Field>> forms, Seal seal) {
    this.feeds = feeds;
    this.forms = Map.copyOf(forms);
    this.seal = seal;
  }

  public boolean has(String source) {
    return forms.containsKey(source) && feeds.of(source).format() == Format.FORM;
  }

  /**
   * An empty form.
   *
   * @param query the query of the address; null for none
   * @param check see {@link FormView}
   */
  public Page blank(String source, @Nullable String query, String check) {
    FormView empty = view(source, Typed.NOTHING, List.of(), new Wire(freshKey(), check), null);
    Typed asked = query == null ? Typed.NOTHING : Typed.read(query);
    return form(
        view(source, asked.only(empty.presets()), List.of(), new Wire(empty.key(), check), null));
  }

  /** What a person is shown after a post. */
  public Answer answer(String source, byte[] body, String check, FormDesk.Answer answer) {
    Typed typed = Typed.read(body);
    if (answer instanceof FormDesk.Answer.Kept kept) {
      return new Answer(
          201, kept(KeptView.of(kept, view(source, typed, List.of(), new Wire("", check), null))));
    } else if (answer instanceof FormDesk.Answer.Again again) {
      return new Answer(
          200, kept(KeptView.of(again, view(source, typed, List.of(), new Wire("", check), null))));
    } else if (answer instanceof FormDesk.Answer.Published published) {
      return new Answer(
          202,
          kept(KeptView.of(published, view(source, typed, List.of(), new Wire("", check), null))));
    } else if (answer instanceof FormDesk.Answer.Returned returned) {
      return returned(source, typed, check, returned.findings());
    } else if (answer instanceof FormDesk.Answer.Refused refused) {
      return returned(source, typed, check, refused.findings());
    }
    long entry = ((FormDesk.Answer.KeyTaken) answer).entry();
    return new Answer(
        409,
        form(
            view(
                source,
                typed,
                List.of(),
                new Wire(freshKey(), check),
                "This form was already kept as entry "
                    + entry
                    + ", with other answers. If what stands here is another scan, send it again. If"
                    + " it corrects the first, do not: have entry "
                    + entry
                    + " put right.")));
  }

  private Answer returned(String source, Typed typed, String check, List<Finding> findings) {
    return new Answer(
        422,
        form(
            view(
                source,
                typed,
                findings,
                new Wire(freshKey(), check),
                "Put right what is named here and send it again; as it is, it goes nowhere.")));
  }

  /** The form again, with what was typed, where the result could not be kept. */
  public Answer notKept(String source, byte[] body, Wire wire, int status, String why) {
    return new Answer(status, form(view(source, Typed.read(body), List.of(), wire, why)));
  }

  private FormView view(
      String source, Typed typed, List<Finding> findings, Wire wire, @Nullable String failure) {
    Mapping mapping = feeds.of(source);
    return new FormView(
        source,
        mapping,
        Questions.of(mapping),
        forms.getOrDefault(source, Set.of()),
        typed,
        findings,
        wire.key(),
        failure,
        seal.publicKey(),
        wire.check());
  }

  private static Page form(FormView view) {
    return Page.of(view.title(), "bedside/form.jte")
        .needing("bedside.css", "bedside.js", "bedside-entry.js")
        .with("form", view);
  }

  private static Page kept(KeptView view) {
    return Page.of(
            view.isWell() ? "The result is kept" : "The result is kept, and needs a person",
            "bedside/kept.jte")
        .needing("bedside.css")
        .with("kept", view);
  }

  private static String freshKey() {
    return UUID.randomUUID().toString();
  }
}
