// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import static org.assertj.core.api.Assertions.assertThat;

import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.demo.server.SmallFhirServer;
import java.net.URI;
import java.sql.Connection;
import java.sql.DriverManager;
import java.sql.SQLException;
import java.sql.Statement;
import java.time.Clock;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.Test;

/** At the fake server, and what reconcile says when something is broken in the store. */
class ProofOfADayTest extends ProofOfADay {
  private final SmallFhirServer server =
      SmallFhirServer.start("127.0.0.1", 0, true, Clock.systemUTC());

  @Override
  URI base() {
    return server.base();
  }

  @AfterEach
  void close() {
    server.close();
  }

  /** As somebody would with a tool. */
  private void broken(String sql) throws SQLException {
    try (Connection store = DriverManager.getConnection("jdbc:sqlite:" + ledger());
        Statement statement = store.createStatement()) {
      assertThat(statement.executeUpdate(sql)).isPositive();
    }
  }

  @Test
  void a_state_that_was_changed_in_the_store() throws SQLException {
    broken("UPDATE entry SET state = 'discarded' WHERE id = 3");
    names("DAMAGED: entry 3 is not as it was written", "damaged");
    assertThat(reconcile().out()).contains("Entry 3 is in another state than the trail says.");
  }

  @Test
  void an_event_that_is_missing_on_the_trail() throws SQLException {
    broken("DELETE FROM trail WHERE seq = 2");
    Spoken said = reconcile("--read-back");
    assertThat(said.code()).isEqualTo(1);
    assertThat(said.out()).contains("The trail is broken at event");
  }

  @Test
  void a_submission_that_is_gone() throws SQLException {
    broken("DELETE FROM submission WHERE id = 1");
    names("DAMAGED: submission 1 is on the trail, and is not in the store any more", "damaged");
  }

  @Test
  void an_entry_that_is_gone() throws SQLException {
    broken("DELETE FROM entry WHERE id = 3");
    names("DAMAGED: entry 3 is on the trail, and is not in the store any more", "damaged");
    assertThat(reconcile().out())
        .contains("DOES NOT ADD UP", "Submission 1 has lost or gained entries.");
  }

  @Test
  void the_sums_of_each_day() {
    JsonNode json = reconcile("--by-day", "--json").only();
    assertThat(json.path("days")).hasSize(1);
    assertThat(json.path("days").get(0).path("received").asInt()).isEqualTo(3);
    assertThat(json.path("days").get(0).path("holds").asBoolean()).isTrue();
    assertThat(reconcile("--by-day").out()).contains("All days", "Everything adds up.");
  }

  @Test
  void a_server_that_does_not_answer_proves_nothing() {
    server.close();
    Spoken said = reconcile("--read-back");
    assertThat(said.code()).isEqualTo(3);
    assertThat(said.err()).contains("nothing can be read back now");
  }
}
