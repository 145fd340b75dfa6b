// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.bedside.BedsidePages;
import dev.cistern.bedside.Seal;
import dev.cistern.bedside.ShowForm;
import dev.cistern.config.Settings;
import dev.cistern.console.Console;
import dev.cistern.console.access.Access;
import dev.cistern.console.access.Caller;
import dev.cistern.console.access.Gate;
import dev.cistern.meter.Meters;
import dev.cistern.page.AssetServlet;
import dev.cistern.page.Assets;
import dev.cistern.page.NothingHere;
import dev.cistern.page.Pages;
import dev.cistern.plant.Plant;
import dev.cistern.plant.Version;
import dev.cistern.scan.Field;
import dev.cistern.topic.TopicSource;
import jakarta.servlet.Filter;
import jakarta.servlet.http.HttpServlet;
import java.time.Duration;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import java.util.Set;
import java.util.stream.Collectors;

/** What people see of the adapter: its pages, which share one frame, and who may see them. */
record Front(Assets assets, Pages pages, BedsidePages bedside, Seal seal, Access access) {
  private static final String SEAL = "bedside-key.jwk";

  /** Who asks for the numbers more often than this is told the same again. */
  private static final Duration FRESH = Duration.ofSeconds(5);

  static Front of(Plant plant, String actor) {
    Assets assets = new Assets();
    Pages pages = new Pages(List.of(), assets, Version.current());
    Map<String, Set<Field>> forms =
        plant.settings().sources().stream()
            .filter(Settings.Form.class::isInstance)
            .map(Settings.Form.class::cast)
            .collect(Collectors.toMap(Settings.Form::name, Settings.Form::unfold));
    Seal seal = Seal.in(plant.settings().data().resolve(SEAL));
    return new Front(
        assets,
        pages,
        new BedsidePages(plant.feeds(), forms, seal),
        seal,
        Access.over(plant.ledger(), plant.settings().access(), plant.clock(), actor));
  }

  private static Meters meters(Plant plant, Beside beside) {
    Meters meters = Meters.over(plant, FRESH);
    meters.also(
        "cistern.sources.not.read",
        "Folders on other hosts, and topics, that cannot be read",
        () -> beside.notRead().size());
    meters.also(
        "cistern.topic.not.written",
        "1 while what this node takes cannot be published",
        () -> beside.takers().notPublished() == null ? 0 : 1);
    for (TopicSource topic : beside.topics().sources()) {
      meters.ofSource(
          "cistern.topic.waiting.records",
          "Records that wait in the partitions of this node, as the brokers said last",
          topic.name(),
          topic::waiting);
      meters.ofSource(
          "cistern.topic.paused",
          "1 while records are left in the topic because the store cannot be written",
          topic.name(),
          () -> topic.paused() ? 1 : 0);
    }
    meters.also(
        "cistern.mappings.not.used",
        "Changed files of mappings, policy or codes that are not in use, because they have a problem",
        () -> beside.notUsed().size());
    return meters;
  }

  /** What stands before servlets and routes, in this order, by path. */
  Map<String, Filter> filters() {
    Map<String, Filter> filters = new LinkedHashMap<>();
    filters.put("/*", access.gate());
    filters.put(
        "/forms/*", new ShowForm(bedside, pages, assets, request -> Caller.of(request).check()));
    return filters;
  }

  /** What answers beside the routes, by path. */
  Map<String, HttpServlet> servlets(Plant plant, Beside beside, String actor) {
    Readiness readiness =
        new Readiness(plant, beside.heads(), Readiness.Troubles.of(beside), actor);
    StatusServlet status = new StatusServlet(plant.ledger(), readiness);
    Map<String, HttpServlet> servlets = new LinkedHashMap<>(Console.servlets(plant, pages));
    servlets.put("/health/*", status);
    servlets.put("/entries/*", status);
    servlets.put(FhirPost.PATH, new FhirPost(beside.takers().messages(), plant.settings()));
    servlets.put("/metrics", new MetricsServlet(meters(plant, beside)));
    servlets.put("/assets/*", new AssetServlet(assets));
    servlets.put(Gate.SIGN_IN, access.signIn(pages));
    servlets.put(Gate.SIGN_OUT, access.signOut());
    servlets.put(Gate.PASSWORD, access.password(pages));
    servlets.putAll(access.signOn(pages));
    servlets.put("/", new NothingHere(pages));
    return servlets;
  }
}
