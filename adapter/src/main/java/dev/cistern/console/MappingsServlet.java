// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import dev.cistern.console.access.Caller;
import dev.cistern.ledger.Role;
import dev.cistern.mapping.Mapping;
import dev.cistern.mapping.TableRowText;
import dev.cistern.page.Page;
import dev.cistern.page.Pages;
import dev.cistern.plant.Plant;
import dev.cistern.scan.CisternException;
import dev.cistern.work.ImpactWalk;
import dev.cistern.work.MappingDesk;
import dev.cistern.work.UnmappedCodes;
import dev.cistern.yaml.YamlProblems;
import jakarta.servlet.annotation.MultipartConfig;
import jakarta.servlet.http.HttpServletRequest;
import jakarta.servlet.http.HttpServletResponse;
import java.io.IOException;
import java.util.List;
import java.util.Objects;
import java.util.Optional;
import org.jspecify.annotations.Nullable;

/**
 * {@code /mappings}: mappings and their code tables; tried on a sample, weighed against what is
 * there, brought into use as a new version, brought back.
 */
@MultipartConfig(
    maxFileSize = SampleForm.LARGEST,
    maxRequestSize = 2L * SampleForm.LARGEST,
    fileSizeThreshold = 2 * SampleForm.LARGEST)
final class MappingsServlet extends ConsolePage {
  private static final long serialVersionUID = 1L;
  private static final int MOST_ROWS = 200;

  private final transient Plant plant;
  private final transient MappingDesk desk;

  MappingsServlet(Plant plant, Pages pages) {
    super(pages, Role.MAP);
    this.plant = plant;
    this.desk = new MappingDesk(plant);
  }

  @Override
  void get(HttpServletRequest request, HttpServletResponse response) throws IOException {
    String name = name(request);
    if (name == null) {
      list(request, response);
      return;
    }
    DeskPage page = page(name);
    Long number = number(given(request, "version"));
    if (number != null) {
      String text =
          plant
              .ledger()
              .mappingVersions()
              .text(name, (int) Math.min(number, Integer.MAX_VALUE))
              .orElseThrow(() -> new CisternException("There is no version of this number."));
      page = page.with(text, "", problems(name, text));
    }
    Long entry = number(given(request, "entry"));
    String field = given(request, "field");
    show(
        request,
        response,
        page,
        entry == null || field == null ? null : NewRow.of(plant, entry, field));
  }

  private void list(HttpServletRequest request, HttpServletResponse response) throws IOException {
    send(
        request,
        response,
        200,
        Page.of("Mappings", "console/mappings.jte")
            .at("/mappings")
            .needing("console.css")
            .with("mappings", desk.inUse())
            .with("desk", desk)
            .with("unmapped", new UnmappedCodes(plant).seen()));
  }

  @Override
  void post(HttpServletRequest request, HttpServletResponse response) throws IOException {
    String name = name(request);
    if (name == null) {
      throw new CisternException("Say which mapping.");
    }
    String text = SampleForm.text(request, "text");
    List<String> problems = problems(name, text);
    String before = SampleForm.text(request, "before");
    if ("row".equals(given(request, "do"))) {
      text =
          TableRowText.with(
              text,
              SampleForm.text(request, "table"),
              SampleForm.text(request, "code"),
              SampleForm.text(request, "word").strip());
      problems = problems(name, text);
    }
    DeskPage page = page(name);
    page =
        new DeskPage(
                name,
                page.title(),
                page.sources(),
                text,
                before,
                "",
                page.tables(),
                page.versions(),
                List.of(),
                null,
                null)
            .with(text, SampleForm.text(request, "sample"), problems);
    if (!problems.isEmpty()) {
      show(request, response, page);
      return;
    }
    Mapping mapping = desk.read(name, text);
    switch (Objects.requireNonNullElse(given(request, "do"), "")) {
      case "row" -> show(request, response, page);
      case "try" -> show(request, response, page.trying(tried(request, mapping)));
      case "weigh" ->
          show(request, response, page.doing(DeskPage.Effect.of(ImpactWalk.of(plant, mapping))));
      case "activate" -> {
        desk.activate(Caller.of(request).actor(""), name, text, before, why(request));
        response.sendRedirect("/mappings/" + name + "?done=activated");
      }
      default -> throw new CisternException("Say what is to be done: try, weigh or activate.");
    }
  }

  private DeskPage page(String name) {
    Mapping mapping =
        desk.inUse().stream()
            .filter(each -> each.name().equals(name))
            .findFirst()
            .orElseThrow(() -> new CisternException("No source uses a mapping of this name."));
    String text = desk.text(name);
    return DeskPage.of(
        mapping, desk.sources(name), text, MappingDesk.sha(text), desk.versions(name));
  }

  private List<String> problems(String name, String text) {
    try {
      desk.read(name, text);
      return List.of();
    } catch (YamlProblems e) {
      return e.problems().stream().map(Object::toString).toList();
    } catch (CisternException e) {
      return List.of(String.valueOf(e.getMessage()));
    }
  }

  private List<DeskPage.Row> tried(HttpServletRequest request, Mapping mapping) throws IOException {
    byte[] sample = SampleForm.sample(request);
    return desk.tried(mapping, sample, MOST_ROWS).stream().map(DeskPage.Row::new).toList();
  }

  private void show(HttpServletRequest request, HttpServletResponse response, DeskPage page)
      throws IOException {
    show(request, response, page, null);
  }

  /**
   * @param row what a code table lacks; null where nobody came for one
   */
  private void show(
      HttpServletRequest request, HttpServletResponse response, DeskPage page, @Nullable NewRow row)
      throws IOException {
    send(
        request,
        response,
        page.problems().isEmpty() ? 200 : 422,
        Page.of("Mapping " + page.name(), "console/mapping.jte")
            .at("/mappings")
            .needing("console.css")
            .with("page", page)
            .with("row", Optional.ofNullable(row))
            .with("put", "row".equals(given(request, "do")))
            .with("inUse", desk.text(page.name()))
            .with("done", Objects.requireNonNullElse(given(request, "done"), ""))
            .with("check", Caller.of(request).check()));
  }

  private static @Nullable String name(HttpServletRequest request) {
    String path = request.getPathInfo();
    return path == null || path.length() < 2 ? null : path.substring(1);
  }
}
