// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.demo.server;

import java.net.URLEncoder;
import java.nio.charset.StandardCharsets;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import java.util.stream.Collectors;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Bundle.BundleEntryComponent;
import org.hl7.fhir.r4.model.Bundle.BundleType;
import org.hl7.fhir.r4.model.Bundle.HTTPVerb;
import org.hl7.fhir.r4.model.Bundle.SearchEntryMode;
import org.jspecify.annotations.Nullable;

/** Puts what was found into a Bundle, a page at a time. */
final class Pages {
  private static final int DEFAULT_SIZE = 20;
  private static final int MAXIMUM_SIZE = 1000;

  /** What says how the answer looks, not what is to be found. */
  private static final List<String> CONTROLS =
      List.of("_count", "_offset", "_summary", "_format", "_pretty");

  private Pages() {}

  static Bundle search(String type, Map<String, List<String>> query, Search search, String base) {
    Map<String, List<String>> conditions = new LinkedHashMap<>(query);
    CONTROLS.forEach(conditions::remove);
    List<Version> found = search.find(type, conditions);
    Bundle page = new Bundle().setType(BundleType.SEARCHSET).setTotal(found.size());
    int size = number(query, "_count", DEFAULT_SIZE);
    String summary = first(query, "_summary");
    if (summary != null && !summary.equals("count") && !summary.equals("false")) {
      throw Refused.invalid("_summary is supported with count only");
    }
    if ("count".equals(summary) || size == 0) {
      return page;
    }
    size = Math.min(size, MAXIMUM_SIZE);
    int offset = number(query, "_offset", 0);
    page.addLink().setRelation("self").setUrl(url(base, type, conditions, size, offset));
    if (offset + size < found.size()) {
      page.addLink().setRelation("next").setUrl(url(base, type, conditions, size, offset + size));
    }
    found.stream()
        .skip(offset)
        .limit(size)
        .forEach(
            version -> {
              BundleEntryComponent entry =
                  page.addEntry()
                      .setFullUrl(base + "/" + version.key())
                      .setResource(version.resource());
              entry.getSearch().setMode(SearchEntryMode.MATCH);
            });
    return page;
  }

  /** Newest first. */
  static Bundle history(List<Version> versions, String base) {
    Bundle page = new Bundle().setType(BundleType.HISTORY).setTotal(versions.size());
    for (int i = versions.size() - 1; i >= 0; i--) {
      Version version = versions.get(i);
      BundleEntryComponent entry =
          page.addEntry().setFullUrl(base + "/" + version.key()).setResource(version.resource());
      entry
          .getRequest()
          .setMethod(version.deleted() ? HTTPVerb.DELETE : HTTPVerb.PUT)
          .setUrl(version.key());
      entry
          .getResponse()
          .setStatus(version.deleted() ? "204" : version.number() == 1 ? "201" : "200")
          .setEtag(version.etag());
    }
    return page;
  }

  private static int number(Map<String, List<String>> query, String name, int otherwise) {
    String text = first(query, name);
    if (text == null) {
      return otherwise;
    }
    if (!text.matches("[0-9]{1,9}")) {
      throw Refused.invalid(name + " is a number from 0");
    }
    return Integer.parseInt(text);
  }

  private static @Nullable String first(Map<String, List<String>> query, String name) {
    List<String> values = query.get(name);
    return values == null || values.isEmpty() ? null : values.get(0);
  }

  private static String url(
      String base, String type, Map<String, List<String>> conditions, int size, int offset) {
    String parameters =
        conditions.entrySet().stream()
            .flatMap(c -> c.getValue().stream().map(v -> encoded(c.getKey()) + "=" + encoded(v)))
            .map(pair -> pair + "&")
            .collect(Collectors.joining());
    return base + "/" + type + "?" + parameters + "_count=" + size + "&_offset=" + offset;
  }

  private static String encoded(String text) {
    return URLEncoder.encode(text, StandardCharsets.UTF_8);
  }
}
