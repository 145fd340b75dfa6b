// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.demo.server;

import java.util.Comparator;
import java.util.HashMap;
import java.util.HashSet;
import java.util.List;
import java.util.Map;
import java.util.Set;
import java.util.stream.IntStream;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Bundle.BundleEntryComponent;
import org.hl7.fhir.r4.model.Bundle.BundleEntryResponseComponent;
import org.hl7.fhir.r4.model.Bundle.BundleType;
import org.hl7.fhir.r4.model.Bundle.HTTPVerb;
import org.hl7.fhir.r4.model.InstantType;
import org.hl7.fhir.r4.model.Resource;
import org.jspecify.annotations.Nullable;

/** Many interactions in one bundle: all or nothing, or each for itself (FHIR R4, 3.1.0.11). */
final class Transactions {
  private static final List<HTTPVerb> ORDER =
      List.of(HTTPVerb.DELETE, HTTPVerb.POST, HTTPVerb.PUT, HTTPVerb.GET);

  private final Store store;
  private final References references;
  private final Interactions interactions;
  private final Router router;

  Transactions(Store store, References references, Interactions interactions, Router router) {
    this.store = store;
    this.references = references;
    this.interactions = interactions;
    this.router = router;
  }

  /** Each entry for itself; one that is refused does not touch the others. */
  Bundle batch(Bundle bundle) {
    Bundle answer = new Bundle().setType(BundleType.BATCHRESPONSE);
    for (BundleEntryComponent entry : bundle.getEntry()) {
      try {
        answer.addEntry(answer(entry, router.alone(Call.of(entry))));
        store.commit();
      } catch (Refused refused) {
        store.rollback();
        BundleEntryResponseComponent response = answer.addEntry().getResponse();
        response.setStatus(Integer.toString(refused.status())).setOutcome(refused.outcome());
      }
    }
    return answer;
  }

  /** All entries, in the order that the standard says; the caller takes all back on a refusal. */
  Bundle transaction(Bundle bundle) {
    List<BundleEntryComponent> entries = bundle.getEntry();
    Plan plan = new Plan();
    at(entries, (i, entry) -> plan.decide(i, entry));
    at(entries, (i, entry) -> resolve(entry, plan));
    Reply[] replies = new Reply[entries.size()];
    IntStream.range(0, entries.size())
        .boxed()
        .sorted(Comparator.comparing(i -> ORDER.indexOf(verb(entries.get(i)))))
        .forEach(i -> one(i, () -> replies[i] = carryOut(i, entries.get(i), plan)));
    at(
        entries,
        (i, entry) -> {
          if (writes(entry) && !plan.existing.containsKey(i)) {
            references.require(entry.getResource());
          }
        });
    Bundle answer = new Bundle().setType(BundleType.TRANSACTIONRESPONSE);
    at(entries, (i, entry) -> answer.addEntry(answer(entry, replies[i])));
    return answer;
  }

  private void resolve(BundleEntryComponent entry, Plan plan) {
    if (writes(entry)) {
      references.rewrite(entry.getResource(), plan.becameOf);
      references.resolve(entry.getResource(), interactions);
    }
  }

  private Reply carryOut(int index, BundleEntryComponent entry, Plan plan) {
    Version existing = plan.existing.get(index);
    if (existing != null) {
      return Reply.of(200, existing);
    }
    String key = plan.created.get(index);
    return key == null
        ? router.carryOut(Call.of(entry))
        : interactions.create(key, entry.getResource());
  }

  private static BundleEntryComponent answer(BundleEntryComponent asked, Reply reply) {
    BundleEntryComponent entry = new BundleEntryComponent();
    BundleEntryResponseComponent response = entry.getResponse().setStatus(reply.statusLine());
    Version version = reply.version();
    if (version != null) {
      response
          .setLocation(version.location())
          .setEtag(version.etag())
          .setLastModifiedElement(new InstantType(version.at().toString()));
    }
    if (verb(asked) == HTTPVerb.GET) {
      entry.setResource(reply.body());
    }
    return entry;
  }

  private static boolean writes(BundleEntryComponent entry) {
    return verb(entry) == HTTPVerb.POST || verb(entry) == HTTPVerb.PUT;
  }

  private static @Nullable HTTPVerb verb(BundleEntryComponent entry) {
    return entry.getRequest().getMethod();
  }

  private interface EntryStep {
    void take(int index, BundleEntryComponent entry);
  }

  private static void at(List<BundleEntryComponent> entries, EntryStep step) {
    for (int i = 0; i < entries.size(); i++) {
      int index = i;
      one(index, () -> step.take(index, entries.get(index)));
    }
  }

  private static void one(int index, Runnable step) {
    try {
      step.run();
    } catch (Refused refused) {
      throw refused.at(index);
    }
  }

  /** What becomes of the entries, decided before anything is written. */
  private final class Plan {
    /** Full URL to key. */
    final Map<String, String> becameOf = new HashMap<>();

    final Map<Integer, Version> existing = new HashMap<>();
    final Map<Integer, String> created = new HashMap<>();
    private final Set<String> conditions = new HashSet<>();
    private final Set<String> updated = new HashSet<>();

    void decide(int index, BundleEntryComponent entry) {
      HTTPVerb verb = verb(entry);
      if (verb == null || !ORDER.contains(verb) || !entry.getRequest().hasUrl()) {
        throw Refused.invalid("request.method is GET, POST, PUT or DELETE, and request.url is set");
      }
      String url = entry.getRequest().getUrl();
      String key = null;
      if (writes(entry)) {
        Resource resource = entry.getResource();
        if (resource == null) {
          throw Refused.invalid("a write has a resource");
        }
        key = verb == HTTPVerb.POST ? decideCreate(index, entry, url) : decideUpdate(url);
      }
      if (key != null && entry.hasFullUrl()) {
        becameOf.put(entry.getFullUrl(), key);
      }
    }

    private String decideUpdate(String url) {
      if (!updated.add(url)) {
        throw Refused.invalid("two entries update the same resource");
      }
      return url;
    }

    private String decideCreate(int index, BundleEntryComponent entry, String type) {
      Router.requireType(type);
      String condition = entry.getRequest().getIfNoneExist();
      if (condition != null) {
        if (!conditions.add(type + "?" + condition)) {
          throw Refused.invalid("two entries have the same condition");
        }
        Version found = interactions.existing(type, condition);
        if (found != null) {
          existing.put(index, found);
          return found.key();
        }
      }
      String key = Interactions.key(type, store.freshId());
      created.put(index, key);
      return key;
    }
  }
}
