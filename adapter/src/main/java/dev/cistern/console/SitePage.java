// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import dev.cistern.ledger.MappingVersions;
import dev.cistern.work.SiteText;
import java.util.List;
import org.jspecify.annotations.Nullable;

/**
 * The policy or the code table on the desk.
 *
 * @param text as it stands in the editor
 * @param before SHA-256 of the text in use when the editor was opened
 * @param mapping under which a sample is read; empty where none was chosen
 * @param problems what is wrong with the text; empty where nothing is, or nobody asked
 * @param tried what became of the sample; null where none was tried
 * @param effect what it would do to entries that are there; null where nobody asked
 */
public record SitePage(
    SiteText which,
    String text,
    String before,
    String sample,
    String mapping,
    List<MappingVersions.Version> versions,
    List<String> problems,
    @Nullable List<DeskPage.Row> tried,
    DeskPage.@Nullable Effect effect) {
  public SitePage {
    versions = List.copyOf(versions);
    problems = List.copyOf(problems);
  }

  static SitePage of(
      SiteText which, String text, String before, List<MappingVersions.Version> versions) {
    return new SitePage(which, text, before, "", "", versions, List.of(), null, null);
  }

  public boolean isPolicy() {
    return which == SiteText.POLICY;
  }

  /** {@code Policy} or {@code Codes}. */
  public String title() {
    return isPolicy() ? "Policy" : "Codes";
  }

  public String address() {
    return "/" + which.word();
  }

  SitePage with(String otherSample, String otherMapping, List<String> wrong) {
    return new SitePage(
        which, text, before, otherSample, otherMapping, versions, wrong, tried, effect);
  }

  SitePage trying(List<DeskPage.Row> rows) {
    return new SitePage(which, text, before, sample, mapping, versions, problems, rows, effect);
  }

  SitePage doing(DeskPage.Effect seen) {
    return new SitePage(which, text, before, sample, mapping, versions, problems, tried, seen);
  }

  /** Never shows the sample: it may hold a patient's data. */
  @Override
  public String toString() {
    return "SitePage[" + which.word() + "]";
  }
}
