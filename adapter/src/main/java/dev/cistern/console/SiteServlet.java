// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import dev.cistern.check.Policy;
import dev.cistern.console.access.Caller;
import dev.cistern.fhir.CodeRow;
import dev.cistern.ledger.Role;
import dev.cistern.mapping.Mapping;
import dev.cistern.page.Page;
import dev.cistern.page.Pages;
import dev.cistern.plant.Plant;
import dev.cistern.scan.CisternException;
import dev.cistern.work.MappingDesk;
import dev.cistern.work.SiteDesk;
import dev.cistern.work.SiteText;
import dev.cistern.work.SiteTrial;
import dev.cistern.yaml.YamlProblems;
import jakarta.servlet.annotation.MultipartConfig;
import jakarta.servlet.http.HttpServletRequest;
import jakarta.servlet.http.HttpServletResponse;
import java.io.IOException;
import java.util.List;
import java.util.Objects;

/**
 * {@code /policy} and {@code /codes}: tried on a sample, weighed against what is there, brought
 * into use as a new version, brought back.
 */
@MultipartConfig(
    maxFileSize = SampleForm.LARGEST,
    maxRequestSize = 2L * SampleForm.LARGEST,
    fileSizeThreshold = 2 * SampleForm.LARGEST)
final class SiteServlet extends ConsolePage {
  private static final long serialVersionUID = 1L;
  private static final int MOST_ROWS = 200;

  private final SiteText which;
  private final transient Plant plant;
  private final transient SiteDesk desk;
  private final transient SiteTrial trial;
  private final transient MappingDesk mappings;

  SiteServlet(Plant plant, Pages pages, SiteText which) {
    super(pages, Role.MAP);
    this.which = which;
    this.plant = plant;
    this.desk = new SiteDesk(plant);
    this.trial = new SiteTrial(plant, desk);
    this.mappings = new MappingDesk(plant);
  }

  @Override
  void get(HttpServletRequest request, HttpServletResponse response) throws IOException {
    String text = asked(request);
    boolean older = given(request, "version") != null;
    show(request, response, page(text).with("", "", older ? problems(text) : List.of()));
  }

  /** The text that the address asks for; else what is in use, or what a site begins with. */
  private String asked(HttpServletRequest request) {
    Long number = number(given(request, "version"));
    if (number != null) {
      return desk.text(which, (int) Math.min(number, Integer.MAX_VALUE))
          .orElseThrow(() -> new CisternException("There is no version of this number."));
    }
    if (given(request, "shipped") != null) {
      return SiteDesk.shipped(which);
    }
    return which == SiteText.POLICY && desk.isShipped(which)
        ? signature(request).beginning()
        : desk.text(which);
  }

  @Override
  void post(HttpServletRequest request, HttpServletResponse response) throws IOException {
    String text = SampleForm.text(request, "text");
    String what = Objects.requireNonNullElse(given(request, "do"), "");
    if (what.equals("sign")) {
      show(request, response, filled(request, signature(request).sign(text), List.of()));
      return;
    }
    List<String> problems = problems(text);
    SitePage page = filled(request, text, problems);
    if (!problems.isEmpty()) {
      show(request, response, page);
      return;
    }
    switch (what) {
      case "try" -> show(request, response, page.trying(tried(request, text)));
      case "weigh" ->
          show(request, response, page.doing(DeskPage.Effect.of(trial.walk(which, text))));
      case "activate" -> {
        desk.activate(
            Caller.of(request).actor(""),
            which,
            text,
            SampleForm.text(request, "before"),
            why(request));
        response.sendRedirect(page.address() + "?done=activated");
      }
      default -> throw new CisternException("Say what is to be done: try, weigh or activate.");
    }
  }

  private SitePage page(String text) {
    return SitePage.of(which, text, MappingDesk.sha(desk.text(which)), desk.versions(which));
  }

  private SitePage filled(HttpServletRequest request, String text, List<String> problems) {
    return SitePage.of(which, text, SampleForm.text(request, "before"), desk.versions(which))
        .with(
            SampleForm.text(request, "sample"),
            Objects.requireNonNullElse(given(request, "mapping"), ""),
            problems);
  }

  private PolicySignature signature(HttpServletRequest request) {
    return new PolicySignature(Caller.of(request).name(), SiteDays.of(plant).today());
  }

  private List<String> problems(String text) {
    try {
      desk.require(which, text);
      return List.of();
    } catch (YamlProblems e) {
      return e.problems().stream().map(Object::toString).toList();
    } catch (CisternException e) {
      return String.valueOf(e.getMessage()).lines().toList();
    }
  }

  private List<DeskPage.Row> tried(HttpServletRequest request, String text) throws IOException {
    String name = given(request, "mapping");
    Mapping mapping =
        mappings.inUse().stream()
            .filter(each -> each.name().equals(name))
            .findFirst()
            .orElseThrow(
                () -> new CisternException("Choose the mapping under which the sample is read."));
    return trial.tried(which, text, mapping, SampleForm.sample(request), MOST_ROWS).stream()
        .map(DeskPage.Row::new)
        .toList();
  }

  private void show(HttpServletRequest request, HttpServletResponse response, SitePage page)
      throws IOException {
    Policy policy = plant.refinery().checks().policy();
    List<CodeRow> rows = plant.postbox().terms().codes().rows();
    send(
        request,
        response,
        page.problems().isEmpty() ? 200 : 422,
        Page.of(page.title(), "console/site.jte")
            .at(page.address())
            .needing("console.css")
            .with("page", page)
            .with("inUse", desk.text(which))
            .with("file", String.valueOf(desk.file(which).getFileName()))
            .with("shipped", desk.isShipped(which))
            .with("mappings", mappings.inUse())
            .with("policy", policy)
            .with("rows", rows)
            .with("done", Objects.requireNonNullElse(given(request, "done"), ""))
            .with("check", Caller.of(request).check()));
  }
}
