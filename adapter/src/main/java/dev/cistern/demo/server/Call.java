// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.demo.server;

import java.util.Arrays;
import java.util.List;
import java.util.Map;
import org.hl7.fhir.r4.model.Bundle.BundleEntryComponent;
import org.hl7.fhir.r4.model.Bundle.BundleEntryRequestComponent;
import org.hl7.fhir.r4.model.Resource;
import org.jspecify.annotations.Nullable;

/**
 * One request, freed from HTTP; an entry of a bundle is one as well.
 *
 * @param path the segments below the server's base
 * @param query parameter to values; of a form, for a search by POST
 * @param ifMatch an ETag; null for none
 * @param ifNoneExist the search of a conditional create; null for none
 * @param body null for none
 */
record Call(
    String method,
    List<String> path,
    Map<String, List<String>> query,
    @Nullable String ifMatch,
    @Nullable String ifNoneExist,
    @Nullable Resource body) {

  static Call of(BundleEntryComponent entry) {
    BundleEntryRequestComponent request = entry.getRequest();
    if (request.getMethod() == null || !request.hasUrl()) {
      throw Refused.invalid("request.method and request.url are set");
    }
    String url = request.getUrl();
    int mark = url.indexOf('?');
    return new Call(
        request.getMethod().toCode(),
        segments(mark < 0 ? url : url.substring(0, mark)),
        Queries.parse(mark < 0 ? "" : url.substring(mark + 1)),
        request.getIfMatch(),
        request.getIfNoneExist(),
        entry.getResource());
  }

  static List<String> segments(String path) {
    return Arrays.stream(path.split("/", -1)).filter(segment -> !segment.isEmpty()).toList();
  }

  String segment(int index) {
    return path.get(index);
  }

  boolean is(String wantedMethod, int segments) {
    return method.equals(wantedMethod) && path.size() == segments;
  }

  boolean writes() {
    boolean search = path.size() == 2 && segment(1).equals("_search");
    return method.equals("PUT") || (method.equals("POST") && !search);
  }

  Resource requireBody() {
    if (body == null) {
      throw Refused.invalid("a write has a resource");
    }
    return body;
  }
}
