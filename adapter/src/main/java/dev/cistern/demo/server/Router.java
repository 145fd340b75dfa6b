// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.demo.server;

import org.hl7.fhir.r4.model.OperationOutcome.IssueType;
import org.hl7.fhir.r4.model.Resource;

/** Decides which interaction a request, or an entry of a bundle, asks for. */
final class Router {
  private final References references;
  private final Search search;
  private final Interactions interactions;
  private final Capabilities capabilities;
  private final String base;

  Router(
      References references,
      Search search,
      Interactions interactions,
      Capabilities capabilities,
      String base) {
    this.references = references;
    this.search = search;
    this.interactions = interactions;
    this.capabilities = capabilities;
    this.base = base;
  }

  /** A request that stands alone: what it writes may refer only to what is there. */
  Reply alone(Call call) {
    Reply reply = carryOut(call);
    Resource body = reply.body();
    if (call.writes() && body != null) {
      references.require(body);
    }
    return reply;
  }

  /** A request; whether what it refers to is there remains to be asked. */
  Reply carryOut(Call call) {
    if (call.path().isEmpty()) {
      throw notAllowed();
    }
    if (call.segment(0).equals("metadata") && call.is("GET", 1)) {
      return Reply.found(capabilities.statement());
    }
    String type = requireType(call.segment(0));
    if (call.is("GET", 1) || (call.is("POST", 2) && call.segment(1).equals("_search"))) {
      return Reply.found(Pages.search(type, call.query(), search, base));
    } else if (call.is("POST", 1)) {
      return interactions.create(type, call.requireBody(), call.ifNoneExist());
    } else if (call.is("GET", 2)) {
      return interactions.read(type, call.segment(1));
    } else if (call.is("PUT", 2)) {
      return interactions.update(type, call.segment(1), call.requireBody(), call.ifMatch());
    } else if (call.is("DELETE", 2)) {
      return interactions.delete(type, call.segment(1));
    } else if (call.is("GET", 3) && call.segment(2).equals("_history")) {
      return Reply.found(Pages.history(interactions.history(type, call.segment(1)), base));
    } else if (call.is("GET", 4) && call.segment(2).equals("_history")) {
      return interactions.vread(type, call.segment(1), call.segment(3));
    }
    throw notAllowed();
  }

  static String requireType(String type) {
    if (!Capabilities.TYPES.contains(type)) {
      throw Refused.notFound("this server keeps no such type of resource");
    }
    return type;
  }

  private static Refused notAllowed() {
    return new Refused(405, IssueType.NOTSUPPORTED, "this server does not do that");
  }
}
