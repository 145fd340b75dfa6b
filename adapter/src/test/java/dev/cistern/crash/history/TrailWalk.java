// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash.history;

import java.io.ByteArrayOutputStream;
import java.io.DataOutputStream;
import java.io.IOException;
import java.io.UncheckedIOException;
import java.nio.charset.StandardCharsets;
import java.security.MessageDigest;
import java.security.NoSuchAlgorithmException;
import java.util.ArrayList;
import java.util.Arrays;
import java.util.HashMap;
import java.util.HexFormat;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import org.jspecify.annotations.Nullable;

/**
 * The trail, verified anew from its description: each hash is SHA-256 over the one before and the
 * event's parts, each with its length in front.
 */
final class TrailWalk {
  private TrailWalk() {}

  /** What speaks against the trail, and against the states that it tells of. */
  static List<String> faults(LedgerRows ledger) {
    List<String> faults = new ArrayList<>();
    Map<Long, String> states = new HashMap<>();
    byte[] previous = new byte[32];
    long seq = 0;
    for (LedgerRows.Event event : ledger.trail()) {
      seq++;
      if (event.seq() != seq) {
        faults.add("event " + seq + " is missing: the next one is " + event.seq());
        seq = event.seq();
      }
      if (!Arrays.equals(event.hash(), hash(previous, event))) {
        faults.add("event " + seq + " does not follow the one before it");
      }
      if (event.payload() != null && !Arrays.equals(event.payloadHash(), payload(event))) {
        faults.add("event " + seq + " has another payload than it had");
      }
      previous = event.hash();
      Long entry = event.entry();
      if (entry != null && event.to() != null) {
        if (!Objects.equals(states.get(entry), event.from())) {
          faults.add(
              "event %d takes entry %d from %s, where the trail left it in %s"
                  .formatted(seq, entry, event.from(), states.get(entry)));
        }
        states.put(entry, event.to());
      }
    }
    for (LedgerRows.Entry entry : ledger.entries()) {
      if (!entry.state().equals(states.get(entry.id()))) {
        faults.add(
            "entry %d is %s, and the trail says %s"
                .formatted(entry.id(), entry.state(), states.get(entry.id())));
      }
    }
    return faults;
  }

  private static byte[] hash(byte[] previous, LedgerRows.Event event) {
    ByteArrayOutputStream bytes = new ByteArrayOutputStream();
    try (DataOutputStream out = new DataOutputStream(bytes)) {
      out.write(previous);
      out.writeLong(event.seq());
      out.writeLong(event.at());
      part(out, event.actor());
      part(out, event.event());
      part(out, event.submission());
      part(out, event.entry());
      part(out, event.from());
      part(out, event.to());
      part(out, event.detail());
      byte[] payload = event.payloadHash();
      part(out, payload == null ? null : HexFormat.of().formatHex(payload));
    } catch (IOException e) {
      throw new UncheckedIOException(e);
    }
    return sha256(bytes.toByteArray());
  }

  private static void part(DataOutputStream out, @Nullable Object value) throws IOException {
    if (value == null) {
      out.writeInt(-1);
    } else {
      byte[] text = value.toString().getBytes(StandardCharsets.UTF_8);
      out.writeInt(text.length);
      out.write(text);
    }
  }

  private static byte[] payload(LedgerRows.Event event) {
    byte[] salt = Objects.requireNonNull(event.salt());
    byte[] text = Objects.requireNonNull(event.payload()).getBytes(StandardCharsets.UTF_8);
    byte[] both = Arrays.copyOf(salt, salt.length + text.length);
    System.arraycopy(text, 0, both, salt.length, text.length);
    return sha256(both);
  }

  static byte[] sha256(byte[] bytes) {
    try {
      return MessageDigest.getInstance("SHA-256").digest(bytes);
    } catch (NoSuchAlgorithmException e) {
      throw new IllegalStateException(e);
    }
  }

  static String hex(byte[] bytes) {
    return HexFormat.of().formatHex(sha256(bytes));
  }
}
