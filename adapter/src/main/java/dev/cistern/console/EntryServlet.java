// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import com.fasterxml.jackson.core.JsonProcessingException;
import dev.cistern.console.access.Caller;
import dev.cistern.json.Json;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.Filing;
import dev.cistern.ledger.Role;
import dev.cistern.page.Page;
import dev.cistern.page.Pages;
import dev.cistern.plant.Plant;
import dev.cistern.refine.Impact;
import dev.cistern.scan.CisternException;
import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Refined;
import dev.cistern.work.Dossier;
import dev.cistern.work.Rework;
import jakarta.servlet.http.HttpServletRequest;
import jakarta.servlet.http.HttpServletResponse;
import java.io.IOException;
import java.util.EnumMap;
import java.util.LinkedHashMap;
import java.util.Map;
import java.util.Objects;
import org.jspecify.annotations.Nullable;

/** {@code /entry/N}: one entry whole, and what can be done with it. */
final class EntryServlet extends ConsolePage {
  private static final long serialVersionUID = 1L;
  private static final String SET = "set.";
  private static final String CLEAR = "clear.";

  private final transient Plant plant;
  private final transient Rework rework;

  EntryServlet(Plant plant, Pages pages) {
    super(pages, Role.VIEW);
    this.plant = plant;
    this.rework = new Rework(plant);
  }

  @Override
  void get(HttpServletRequest request, HttpServletResponse response) throws IOException {
    Entry entry = asked(request);
    if (entry == null) {
      problem(request, response, 404, "There is no entry of this number.");
      return;
    }
    show(request, response, entry, Map.of(), null);
  }

  @Override
  void post(HttpServletRequest request, HttpServletResponse response) throws IOException {
    if (!allowed(request, response, Role.OPERATE)) {
      return;
    }
    Entry entry = asked(request);
    if (entry == null) {
      problem(request, response, 404, "There is no entry of this number.");
      return;
    }
    Map<Field, String> amended = amended(request);
    String actor = Caller.of(request).actor("");
    switch (Objects.requireNonNullElse(given(request, "do"), "")) {
      case "try" -> show(request, response, entry, typed(request), trial(entry, amended));
      case "discard" -> {
        plant.ledger().desk().discard(actor, entry.id(), why(request));
        response.sendRedirect("/entry/" + entry.id() + "?done=discarded");
      }
      case "replay" -> {
        Filing.Filed filed = rework.again(actor, entry, amended, why(request));
        response.sendRedirect("/entry/" + filed.entry() + "?done=replayed");
      }
      default -> throw new CisternException("Say what is to be done: try, replay or discard.");
    }
  }

  private @Nullable Entry asked(HttpServletRequest request) {
    String path = request.getPathInfo();
    Long id = number(path == null ? null : path.substring(1));
    return id == null ? null : plant.ledger().records().entry(id).orElse(null);
  }

  private EntrySheet.Trial trial(Entry entry, Map<Field, String> amended) {
    Refined refined = rework.tried(entry, amended);
    return new EntrySheet.Trial(
        refined.accepted(),
        Impact.between(entry, refined).differences(),
        refined.findings().stream().filter(Finding::rejects).toList());
  }

  private static Map<Field, String> amended(HttpServletRequest request) {
    Map<Field, String> amended = new EnumMap<>(Field.class);
    typed(request)
        .forEach((key, value) -> Field.named(key).ifPresent(field -> amended.put(field, value)));
    for (Field field : Field.values()) {
      if (given(request, CLEAR + field.key()) != null) {
        amended.put(field, "");
      }
    }
    return amended;
  }

  private static Map<String, String> typed(HttpServletRequest request) {
    Map<String, String> typed = new LinkedHashMap<>();
    for (Field field : Field.values()) {
      String value = given(request, SET + field.key());
      if (value != null) {
        typed.put(field.key(), value);
      }
    }
    String other = given(request, "other");
    String value = given(request, "otherValue");
    if (other != null && value != null) {
      typed.put(other, value);
    }
    return typed;
  }

  private void show(
      HttpServletRequest request,
      HttpServletResponse response,
      Entry entry,
      Map<String, String> typed,
      EntrySheet.@Nullable Trial trial)
      throws IOException {
    Dossier dossier = Dossier.of(plant, entry);
    String bundle = Dossier.bundle(plant, entry);
    EntrySheet sheet =
        new EntrySheet(
            dossier,
            FieldRow.of(dossier),
            dossier.trail().stream().map(LifeEvent::of).toList(),
            bundle == null ? null : pretty(bundle),
            Caller.of(request).may(Role.OPERATE) && EntrySheet.open(dossier),
            entry.urgency() >= Gathering.alarm(plant),
            typed,
            trial);
    send(
        request,
        response,
        200,
        Page.of("Entry " + entry.id(), "console/entry.jte")
            .at("/rejected")
            .needing("console.css", "console.js")
            .with("sheet", sheet)
            .with("mapper", mapper(request, entry))
            .with("done", Objects.requireNonNullElse(given(request, "done"), ""))
            .with("check", Caller.of(request).check()));
  }

  /** The mapping whose tables the person may change; empty where there is none. */
  private String mapper(HttpServletRequest request, Entry entry) {
    return Caller.of(request).may(Role.MAP) && plant.feeds().has(entry.source())
        ? plant.feeds().of(entry.source()).name()
        : "";
  }

  private static String pretty(String json) {
    try {
      return Json.MAPPER.writerWithDefaultPrettyPrinter().writeValueAsString(Json.tree(json));
    } catch (JsonProcessingException e) {
      throw new IllegalStateException("a bundle that was built here is JSON", e);
    }
  }
}
