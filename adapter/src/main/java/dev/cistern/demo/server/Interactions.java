// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.demo.server;

import java.time.Clock;
import java.util.List;
import java.util.Map;
import org.hl7.fhir.r4.model.OperationOutcome.IssueType;
import org.hl7.fhir.r4.model.Resource;
import org.jspecify.annotations.Nullable;

/** Read, create, update and delete, each on a single resource. */
final class Interactions {
  private final Store store;
  private final References references;
  private final Search search;
  private final boolean updateCreate;
  private final Clock clock;

  Interactions(
      Store store, References references, Search search, boolean updateCreate, Clock clock) {
    this.store = store;
    this.references = references;
    this.search = search;
    this.updateCreate = updateCreate;
    this.clock = clock;
  }

  Reply read(String type, String id) {
    Version newest = store.newest(key(type, id));
    if (newest == null) {
      throw Refused.notFound("no " + type + " with this id");
    }
    if (newest.deleted()) {
      throw new Refused(410, IssueType.DELETED, "this " + type + " was deleted");
    }
    return Reply.of(200, newest);
  }

  Reply vread(String type, String id, String number) {
    return store.history(key(type, id)).stream()
        .filter(version -> Integer.toString(version.number()).equals(number))
        .findFirst()
        .map(
            version -> {
              if (version.deleted()) {
                throw new Refused(410, IssueType.DELETED, "this version is a deletion");
              }
              return Reply.of(200, version);
            })
        .orElseThrow(() -> Refused.notFound("no such version of this " + type));
  }

  /** Oldest first. */
  List<Version> history(String type, String id) {
    List<Version> versions = store.history(key(type, id));
    if (versions.isEmpty()) {
      throw Refused.notFound("no " + type + " with this id");
    }
    return versions;
  }

  /**
   * Creates, or finds what is there already.
   *
   * @param ifNoneExist a search; null to create in any case
   */
  Reply create(String type, Resource resource, @Nullable String ifNoneExist) {
    Version existing = ifNoneExist == null ? null : existing(type, ifNoneExist);
    if (existing != null) {
      return Reply.of(200, existing);
    }
    return create(key(type, store.freshId()), resource);
  }

  Reply create(String key, Resource resource) {
    requireType(key, resource);
    return Reply.of(201, store.write(key, resource, clock.instant()));
  }

  /** The one resource that fits; null where none does. */
  @Nullable Version existing(String type, String query) {
    List<Version> found = matching(type, query);
    if (found.size() > 1) {
      throw Refused.severalMatch("several fit the condition of a conditional create");
    }
    return found.isEmpty() ? null : found.get(0);
  }

  /**
   * Everything that fits a condition.
   *
   * @param query {@code identifier=system|value}, perhaps with a type or a whole URL in front
   */
  List<Version> matching(String type, String query) {
    Map<String, List<String>> parameters = Queries.parse(query.replaceFirst("^[^=]*\\?", ""));
    if (parameters.isEmpty()) {
      throw Refused.invalid("a condition without a search parameter would fit everything");
    }
    return search.find(type, parameters);
  }

  /**
   * Writes a new version, unless nothing changes.
   *
   * @param ifMatch the ETag that the newest version must have; null for none
   */
  Reply update(String type, String id, Resource resource, @Nullable String ifMatch) {
    String key = key(type, id);
    requireType(key, resource);
    if (!id.equals(resource.getIdElement().getIdPart())) {
      throw Refused.invalid("the id in the URL and the id in the " + type + " differ");
    }
    Version current = store.current(key);
    if (ifMatch != null && (current == null || !current.etag().endsWith(ifMatch))) {
      throw new Refused(412, IssueType.CONFLICT, "If-Match names another version");
    }
    if (current == null) {
      requireAcceptable(id);
    } else if (sameContent(current.resource(), resource)) {
      return Reply.of(200, current);
    }
    return Reply.of(current == null ? 201 : 200, store.write(key, resource, clock.instant()));
  }

  Reply delete(String type, String id) {
    String key = key(type, id);
    if (store.current(key) != null) {
      for (String other : Capabilities.TYPES) {
        for (Version version : store.all(other)) {
          Resource resource = version.resource();
          if (resource != null && references.refersTo(resource, key)) {
            throw new Refused(409, IssueType.CONFLICT, "a " + other + " refers to it");
          }
        }
      }
      store.delete(key, clock.instant());
    }
    return new Reply(204, null, null);
  }

  private void requireAcceptable(String id) {
    if (!updateCreate) {
      throw new Refused(
          405, IssueType.NOTSUPPORTED, "this server does not create by update: it gives the ids");
    }
    if (!id.matches("[A-Za-z0-9.-]{1,64}") || id.matches("[0-9]+")) {
      throw Refused.invalid("this id cannot be given: ids of digits alone are the server's");
    }
  }

  private static void requireType(String key, Resource resource) {
    if (!key.startsWith(resource.fhirType() + "/")) {
      throw Refused.invalid("the body is a " + resource.fhirType());
    }
  }

  private static boolean sameContent(@Nullable Resource before, Resource after) {
    return before != null && withoutVersion(before).equalsDeep(withoutVersion(after));
  }

  private static Resource withoutVersion(Resource resource) {
    Resource copy = resource.copy();
    copy.setId((String) null);
    copy.getMeta().setVersionId(null).setLastUpdated(null);
    return copy;
  }

  static String key(String type, String id) {
    return type + "/" + id;
  }
}
