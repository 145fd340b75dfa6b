// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import dev.cistern.scan.CisternException;
import dev.cistern.ship.Head;
import dev.cistern.ship.ShippedHeads;
import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.StandardOpenOption;
import java.util.ArrayList;
import java.util.HexFormat;
import java.util.List;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** Whoever can write the store can write a chain that holds; what was shipped tells on them. */
class RewrittenTrailTest {
  @TempDir Path folder;
  private Store store;
  private Path shipped;

  @BeforeEach
  void three_heads_of_a_trail_of_six_events() throws IOException {
    store = Store.in(folder.resolve("data"));
    shipped = folder.resolve("heads.jsonl");
    for (String exam : new String[] {"0001", "0002", "0003"}) {
      store.filed(Store.result(exam, 142));
      Trail.Verdict verdict = store.ledger.verifyTrail();
      Head head = new Head("alder-vale-1", verdict.events(), verdict.head(), store.clock.instant());
      Files.writeString(
          shipped, head.line() + "\n", StandardOpenOption.CREATE, StandardOpenOption.APPEND);
    }
  }

  @AfterEach
  void close() {
    store.close();
  }

  private ShippedHeads.Comparison compared() {
    return ShippedHeads.read(shipped).compare(store.ledger);
  }

  /** Changes an event and makes every hash from there on right again. */
  private void rewritten(long from, String change) {
    store.tampered("UPDATE trail SET " + change + " WHERE seq = " + from);
    byte[] previous = new byte[32];
    List<Trail.Event> events = new ArrayList<>();
    store.ledger.read(
        handle -> {
          Trail.events(handle, null, null).forEachRemaining(events::add);
          return events;
        });
    for (Trail.Event event : events) {
      previous = event.hashAfter(previous);
      store.tampered(
          "UPDATE trail SET hash = x'%s' WHERE seq = %d"
              .formatted(HexFormat.of().formatHex(previous), event.seq()));
    }
    assertThat(store.ledger.verifyTrail().holds()).as("the chain holds in itself").isTrue();
  }

  @Test
  void a_trail_that_only_went_on_leads_through_what_was_shipped() {
    store.filed(Store.result("0004", 142));
    assertThat(compared()).isEqualTo(new ShippedHeads.Comparison(3, 6, null));
  }

  @Test
  void a_chain_that_was_rewritten_as_a_whole_is_named_where_it_leaves_the_shipped_one() {
    rewritten(3, "actor = 'user nobody'");
    ShippedHeads.Comparison comparison = compared();
    assertThat(comparison.holds()).isFalse();
    assertThat(comparison.lastGood()).isEqualTo(2);
    assertThat(ShippedHeads.sentence(comparison))
        .isEqualTo(
            "The trail was rewritten: its hash is another one at event 4, which alder-vale-1"
                + " shipped at 2026-03-14T09:00:00Z. Up to event 2 it is as it was shipped.");
  }

  @Test
  void a_rewritten_beginning_leaves_nothing_that_agrees() {
    rewritten(1, "at = at + 1");
    assertThat(compared().lastGood()).isZero();
    assertThat(ShippedHeads.sentence(compared())).endsWith("No shipped head agrees with it.");
  }

  @Test
  void a_tail_that_was_cut_off_is_missed() {
    store.tampered("DELETE FROM trail WHERE seq > 4");
    assertThat(store.ledger.verifyTrail().holds()).isTrue();
    assertThat(ShippedHeads.sentence(compared()))
        .startsWith("The trail was cut off: it ends before event 6, which alder-vale-1 shipped")
        .endsWith("Up to event 4 it is as it was shipped.");
  }

  @Test
  void a_file_without_a_head_or_no_file_is_said() throws IOException {
    Path other = Files.writeString(folder.resolve("other"), "no head\n{}\n");
    assertThatThrownBy(() -> ShippedHeads.read(other))
        .isInstanceOf(CisternException.class)
        .hasMessageContaining("holds no head of a trail");
    assertThatThrownBy(() -> ShippedHeads.read(folder.resolve("nowhere")))
        .isInstanceOf(CisternException.class)
        .hasMessageContaining("cannot be read");
  }
}
