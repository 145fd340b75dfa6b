// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.io.ByteArrayOutputStream;
import java.nio.charset.Charset;
import java.nio.charset.StandardCharsets;
import java.nio.file.Path;
import java.time.Duration;
import java.time.Instant;
import org.jspecify.annotations.Nullable;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.io.TempDir;

/** A store to purge from, and what was handed to it. */
abstract class Purging {
  static final Charset US = StandardCharsets.US_ASCII;

  @TempDir Path folder;
  Store store;
  Purge purge;

  @BeforeEach
  void open() {
    store = Store.in(folder);
    purge = new Purge(store.ledger);
  }

  @AfterEach
  void close() {
    store.close();
  }

  final Instant later(int days) {
    store.clock.tick(Duration.ofDays(days));
    return store.clock.instant();
  }

  final Purge.Count all(Instant before) {
    return purge.run("user records", new Purge.Before(before, before), "test rule", null);
  }

  final long submission(String name, @Nullable String key, byte[] bytes) {
    return store.ledger.write(
        Store.NODE,
        tx -> {
          Inbox inbox = store.ledger.inbox();
          long id = inbox.open(tx, new Handover(Store.SOURCE, "form", name, null, key));
          for (int from = 0, n = 0; from < bytes.length; from += Inbox.CHUNK, n++) {
            int to = Math.min(bytes.length, from + Inbox.CHUNK);
            inbox.chunk(tx, id, n, java.util.Arrays.copyOfRange(bytes, from, to));
          }
          inbox.received(tx, id, Store.sha256(bytes), bytes.length);
          inbox.progress(tx, inbox.find(tx, id), 0, true, Duration.ZERO);
          return id;
        });
  }

  static byte[] bytes(int chunks) {
    ByteArrayOutputStream all = new ByteArrayOutputStream();
    byte[] line = "MARKED;".getBytes(US);
    while (all.size() < chunks * Inbox.CHUNK) {
      all.writeBytes(line);
    }
    return all.toByteArray();
  }
}
