// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import static org.assertj.core.api.Assertions.assertThatThrownBy;

import java.nio.file.Files;
import java.nio.file.Path;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** What concerns the file of the embedded store only. */
class EmbeddedStoreTest {
  @TempDir Path folder;

  @Test
  void a_file_that_is_no_ledger_is_refused_in_a_sentence() throws Exception {
    Files.writeString(
        folder.resolve(Ledger.FILE), "This is no database, but a shopping list. ".repeat(50));
    assertThatThrownBy(() -> Store.in(folder))
        .isInstanceOf(LedgerUnavailable.class)
        .hasMessageContaining("cannot be opened or upgraded");
  }

  @Test
  void a_data_folder_that_cannot_be_made_is_refused_in_a_sentence() throws Exception {
    Path file = Files.writeString(folder.resolve("taken"), "");
    assertThatThrownBy(() -> Store.in(file.resolve("data")))
        .isInstanceOf(LedgerUnavailable.class)
        .hasMessageContaining("check the path");
  }
}
