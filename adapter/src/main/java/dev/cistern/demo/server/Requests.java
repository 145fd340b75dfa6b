// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.demo.server;

import java.time.Clock;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Bundle.BundleType;
import org.hl7.fhir.r4.model.Resource;

/** Lets one request in at a time, and lets each do all of what it asks or nothing. */
final class Requests {
  private final Store store = new Store();
  private final Interactions interactions;
  private final Router router;
  private final Transactions transactions;

  /**
   * @param base the server's own URL
   */
  Requests(String base, boolean updateCreate, Clock clock) {
    References references = new References(store, base);
    Search search = new Search(store, references);
    this.interactions = new Interactions(store, references, search, updateCreate, clock);
    Capabilities capabilities = new Capabilities(base, updateCreate, clock.instant());
    this.router = new Router(references, search, interactions, capabilities, base);
    this.transactions = new Transactions(store, references, interactions, router);
  }

  /** Never throws {@link Refused}: a refusal is an answer. */
  synchronized Reply answer(Call call) {
    try {
      Reply reply = call.is("POST", 0) ? bundle(call.requireBody()) : router.alone(call);
      store.commit();
      return reply;
    } catch (Refused refused) {
      return Reply.of(refused);
    } finally {
      store.rollback();
    }
  }

  private Reply bundle(Resource body) {
    BundleType type = body instanceof Bundle bundle ? bundle.getType() : null;
    if (type == BundleType.TRANSACTION) {
      return Reply.found(transactions.transaction((Bundle) body));
    } else if (type == BundleType.BATCH) {
      return Reply.found(transactions.batch((Bundle) body));
    }
    throw Refused.invalid("what is posted here is a Bundle of type transaction or batch");
  }

  /** Puts a resource there, under its own id where it has one, whatever that is. */
  synchronized String seed(Resource resource) {
    String id = resource.getIdElement().getIdPart();
    String key = Interactions.key(resource.fhirType(), id == null ? store.freshId() : id);
    interactions.create(key, resource);
    store.commit();
    return key;
  }
}
