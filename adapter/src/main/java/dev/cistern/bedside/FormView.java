// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.bedside;

import dev.cistern.mapping.Mapping;
import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import java.net.URLEncoder;
import java.nio.charset.StandardCharsets;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import java.util.Optional;
import java.util.Set;
import java.util.stream.Collectors;
import java.util.stream.Stream;
import org.jspecify.annotations.Nullable;

/**
 * The form as a template sees it: the questions, what was typed so far, and what was found.
 *
 * @param unfold questions that are asked of everybody, although a result is whole without
 * @param key the idempotency key of this form: sent twice, it is one result
 * @param failure why what was typed is not kept, in one sentence; null where nothing was sent yet
 * @param seal the public key for results that wait on a device, as a JWK
 * @param check what the form brings back in its address, to show that it is from our page; empty
 *     where nobody is signed in
 */
public record FormView(
    String source,
    Mapping mapping,
    Map<Section, List<Question>> parts,
    Set<Field> unfold,
    Typed typed,
    List<Finding> findings,
    String key,
    @Nullable String failure,
    String seal,
    String check) {

  /**
   * What may stand in the address of the form, so that a tablet's bookmark can know its scanner.
   */
  private static final Set<Field> PRESETS = Set.of(Field.DEVICE_SERIAL, Field.LOCATION);

  /** A question, or the whole form, and what is wrong with it. */
  public record Wrong(@Nullable String target, Finding finding) {}

  public FormView {
    unfold = Set.copyOf(unfold);
    findings = List.copyOf(findings);
  }

  public String title() {
    return mapping.title();
  }

  /** The questions that may be answered by the form's address. */
  List<Question> presets() {
    return parts.values().stream()
        .flatMap(List::stream)
        .filter(question -> PRESETS.contains(question.field()))
        .toList();
  }

  /** The question that the page's script answers, beside the patient's number; null for none. */
  public @Nullable Question howEntered() {
    boolean oneNumber =
        parts.values().stream()
                .flatMap(List::stream)
                .filter(q -> q.field() == Field.PATIENT_ID)
                .count()
            == 1;
    return oneNumber ? Questions.howEntered(mapping).orElse(null) : null;
  }

  /** Where the form is posted to. */
  public String action() {
    return "/forms/" + source + (check.isEmpty() ? "" : "?check=" + encoded(check));
  }

  /** Their names, for the script. */
  public String presetNames() {
    return presets().stream().map(Question::name).collect(Collectors.joining(" "));
  }

  /** The address of the next form: of the same scanner, on the same ward. */
  String next() {
    String query =
        presets().stream()
            .filter(question -> !typed.first(question).isBlank())
            .map(question -> encoded(question.name()) + "=" + encoded(typed.first(question)))
            .collect(Collectors.joining("&"));
    return "/forms/" + source + (query.isEmpty() ? "" : "?" + query);
  }

  private static String encoded(String text) {
    return URLEncoder.encode(text, StandardCharsets.UTF_8);
  }

  public @Nullable String zone() {
    return mapping.zone() == null ? null : mapping.zone().getId();
  }

  public String value(Question question) {
    return typed.first(question);
  }

  public boolean isChosen(Question question, Question.Choice choice) {
    List<String> texts = typed.of(question);
    return texts.isEmpty() ? choice.preset() : texts.contains(choice.value());
  }

  public List<Finding> findings(Question question) {
    return isFirstOf(question)
        ? findings.stream().filter(f -> question.field() == f.field()).toList()
        : List.of();
  }

  /** The elements that tell more about a question. */
  public String describedBy(Question question) {
    String wrong = question.id() + "-wrong";
    return question.hint() == null ? wrong : question.id() + "-hint " + wrong;
  }

  public @Nullable String invalid(Question question) {
    return findings(question).stream().anyMatch(Finding::rejects) ? "true" : null;
  }

  /** What rejects first, each with the question that it is about. */
  public List<Wrong> wrongs() {
    List<Wrong> wrongs = new ArrayList<>();
    findings.stream().filter(Finding::rejects).forEach(f -> wrongs.add(new Wrong(target(f), f)));
    return wrongs;
  }

  private @Nullable String target(Finding finding) {
    Field field = finding.field();
    return field == null ? null : first(field).map(Question::id).orElse(null);
  }

  private boolean isFirstOf(Question question) {
    return first(question.field()).filter(question::equals).isPresent();
  }

  private Optional<Question> first(Field field) {
    return parts.values().stream()
        .flatMap(List::stream)
        .filter(q -> q.field() == field)
        .findFirst();
  }

  /** What a part asks of everybody. */
  public List<Question> asked(Section section) {
    return questions(section).filter(question -> !folds(section, question)).toList();
  }

  /** What a part asks only of who unfolds it. */
  public List<Question> folded(Section section) {
    return questions(section).filter(question -> folds(section, question)).toList();
  }

  private boolean folds(Section section, Question question) {
    return section.folds(question) && !unfold.contains(question.field());
  }

  private Stream<Question> questions(Section section) {
    return parts.getOrDefault(section, List.of()).stream();
  }

  /** What is folded away, in words. */
  public String foldTitle(Section section) {
    return folded(section).stream()
        .map(question -> Wording.inFold(question.field()))
        .distinct()
        .collect(Collectors.joining(", ", "Also: ", ""));
  }

  /** Whether something was found at a question that is folded away. */
  public boolean unfolded(Section section) {
    return folded(section).stream().anyMatch(question -> !findings(question).isEmpty());
  }

  /** What a mapping says of every result of this form about the void, where it does not ask. */
  public @Nullable String fixedPurpose() {
    var rule = mapping.fields().get(Field.PURPOSE);
    boolean asked = first(Field.PURPOSE).isPresent();
    return asked || rule == null || rule.fixed() == null
        ? null
        : Wording.word(Field.PURPOSE, Objects.requireNonNull(rule.fixed()));
  }

  /** Never shows what was typed. */
  @Override
  public String toString() {
    return "FormView[" + source + "]";
  }
}
