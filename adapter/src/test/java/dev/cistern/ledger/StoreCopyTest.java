// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.attribute.PosixFilePermissions;
import java.util.concurrent.CountDownLatch;
import java.util.concurrent.atomic.AtomicBoolean;
import java.util.stream.Stream;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

class StoreCopyTest {
  @TempDir Path folder;

  private Path store() throws IOException {
    return Files.createDirectories(folder.resolve("store"));
  }

  private static Reconciliation.Proof proof(Path file, Path into) throws IOException {
    Files.createDirectories(into);
    Files.copy(file, into.resolve(Ledger.FILE));
    try (Store copied = Store.in(into)) {
      return new Reconciliation(copied.ledger).prove(Reconciliation.Span.all(null));
    }
  }

  @Test
  void a_copy_that_is_made_while_others_write_adds_up_in_itself() throws Exception {
    try (Store store = Store.in(store())) {
      AtomicBoolean enough = new AtomicBoolean();
      CountDownLatch begun = new CountDownLatch(20);
      Thread writer =
          new Thread(
              () -> {
                for (int i = 0; !enough.get(); i++) {
                  store.filed(Store.result("%05d".formatted(i), 100 + i % 300));
                  begun.countDown();
                }
              });
      writer.start();
      begun.await();
      for (int copy = 1; copy <= 3; copy++) {
        Path file = folder.resolve("copy-" + copy + ".db");
        Trail.Verdict said = StoreCopy.write(store(), file);
        assertThat(said.holds()).isTrue();
        Reconciliation.Proof proof = proof(file, folder.resolve("copy-" + copy));
        assertThat(proof.holds()).isTrue();
        assertThat(proof.trail().head()).isEqualTo(said.head());
        assertThat(proof.sums().get(0).entries()).isGreaterThanOrEqualTo(20);
      }
      enough.set(true);
      writer.join();
      assertThat(store.ledger.verifyTrail().holds()).isTrue();
    }
  }

  @Test
  void only_its_owner_may_read_a_copy() throws IOException {
    try (Store store = Store.in(store())) {
      store.filed(Store.result("0001", 100));
    }
    Path file = folder.resolve("copy.db");
    StoreCopy.write(store(), file);
    assertThat(PosixFilePermissions.toString(Files.getPosixFilePermissions(file)))
        .isEqualTo("rw-------");
  }

  @Test
  void a_copy_that_fails_leaves_nothing_behind() throws IOException {
    Files.write(store().resolve(Ledger.FILE), new byte[8192]);
    Path to = Files.createDirectories(folder.resolve("to"));
    assertThatThrownBy(() -> StoreCopy.write(store(), to.resolve("copy.db")))
        .isInstanceOf(LedgerUnavailable.class)
        .hasMessageContaining("copy.db");
    try (Stream<Path> left = Files.list(to)) {
      assertThat(left).isEmpty();
    }
  }

  @Test
  void a_trail_that_was_changed_is_copied_and_named() throws IOException {
    try (Store store = Store.in(store())) {
      store.filed(Store.result("0001", 100));
      store.ledger.read(
          handle -> handle.execute("UPDATE trail SET actor = 'somebody else' WHERE seq = 1"));
    }
    Path file = folder.resolve("copy.db");
    Trail.Verdict said = StoreCopy.write(store(), file);
    assertThat(said.holds()).isFalse();
    assertThat(said.broken()).isEqualTo(1);
    assertThat(file).exists();
  }
}
