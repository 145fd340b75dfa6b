// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.refine;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Filing;
import dev.cistern.ledger.Reconciliation;
import dev.cistern.mapping.Mapping;
import java.nio.charset.StandardCharsets;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

class MessageDeskTest {
  private static final String ROWAN = "rowan-hl7";

  @TempDir Path folder;

  @SuppressWarnings("NullAway.Init")
  private Ward ward;

  @SuppressWarnings("NullAway.Init")
  private MessageDesk desk;

  private final List<Filing.Filed> announced = new ArrayList<>();

  @BeforeEach
  void open() {
    ward = new Ward(folder);
    Feeds feeds = new Feeds(Map.of(ROWAN, Mapping.read(Ward.MAPPINGS.resolve("rowan-oru.yaml"))));
    desk =
        new MessageDesk(ward.ledger, feeds, ward.refinery, ward.clock, Ward.NODE, announced::add);
  }

  @AfterEach
  void adds_up() {
    assertThat(new Reconciliation(ward.ledger).prove(Reconciliation.Span.all(null)).holds())
        .isTrue();
    ward.close();
  }

  /** Two results of one order, in the shape of the ORU^R01 of HL7 v2.5.1, section 7.3.1. */
  static String message(String id, String unit, String second) {
    return "MSH|^~\\&|BVFEED|WARD7|FHIRADAPT|HOSP|20260314091205+0000||ORU^R01^ORU_R01|"
        + id
        + "|P|2.5.1|||NE|AL||UNICODE UTF-8\r"
        + "PID|1||9990000018^^^HOSP&2.999.1.1&ISO^MR||Testpatient^Oriel^Q||19580723|F\r"
        + "OBR|1|ORD77^ORDSYS|BV-"
        + id
        + "^BVFEED|69388-7^US Urinary bladder post void^LN|||20260314090500+0000|||||||||||||||20260314091200+0000|||F\r"
        + "OBX|1|NM|98856-8^US Urinary bladder Volume post void^LN|1|142|"
        + unit
        + "|||||F|||20260314090500+0000||N4471^Nurse^Ada||DEV-0007^BVFEED\r"
        + "OBX|2|SN|98856-8^US Urinary bladder Volume post void^LN|2|"
        + second
        + "|mL^milliliter^UCUM||>|||F|||20260314090700+0000||N4471^Nurse^Ada||DEV-0007^BVFEED\r";
  }

  private static byte[] bytes(String message) {
    return message.getBytes(StandardCharsets.UTF_8);
  }

  private List<Entry> entries(int submission) {
    return ward.ledger.records().entriesOf(submission, 0, 10);
  }

  @Test
  void a_message_is_kept_split_off_and_ready_before_it_is_answered() {
    MessageDesk.Kept kept =
        desk.receive(ROWAN, "mllp", bytes(message("1", "mL^milliliter^UCUM", ">^999")));
    assertThat(kept.held()).isEmpty();
    assertThat(entries(1)).extracting(Entry::state).containsOnly(EntryState.READY).hasSize(2);
    assertThat(ward.ledger.records().openSubmissions()).isZero();
    assertThat(announced).isEmpty();
  }

  @Test
  void the_sender_learns_which_results_were_not_understood() {
    MessageDesk.Kept kept = desk.receive(ROWAN, "mllp", bytes(message("1", "", ">^999")));
    assertThat(kept.held()).containsExactly(new MessageDesk.Held(1, "unit-missing"));
    assertThat(entries(1))
        .extracting(Entry::state)
        .containsExactly(EntryState.REJECTED, EntryState.READY);
    assertThat(announced).extracting(Filing.Filed::entry).containsExactly(1L);
  }

  @Test
  void a_result_that_is_understood_and_implausible_is_ours_to_look_into() {
    MessageDesk.Kept kept =
        desk.receive(ROWAN, "mllp", bytes(message("1", "L", ">^999").replace("|142|", "|142000|")));
    assertThat(kept.held()).isEmpty();
    assertThat(entries(1).get(0).state()).isEqualTo(EntryState.REJECTED);
    assertThat(announced).hasSize(1);
  }

  @Test
  void the_same_bytes_get_the_same_answer_and_make_nothing_new() {
    byte[] message = bytes(message("1", "", ">^999"));
    MessageDesk.Kept first = desk.receive(ROWAN, "mllp", message);
    // A person puts the first result right meanwhile; the sender is told the same all the same.
    ward.ledger.desk().discard("nurse", 1, "typed by hand");
    assertThat(desk.receive(ROWAN, "mllp", message)).isEqualTo(first);
    assertThat(ward.ledger.records().entriesOf(2, 0, 10)).isEmpty();
  }

  @Test
  void other_bytes_under_the_same_control_id_are_another_message() {
    desk.receive(ROWAN, "mllp", bytes(message("1", "mL^milliliter^UCUM", ">^999")));
    MessageDesk.Kept kept =
        desk.receive(ROWAN, "mllp", bytes(message("1", "mL^milliliter^UCUM", ">^998")));
    assertThat(kept.held()).isEmpty();
    assertThat(entries(2))
        .extracting(Entry::state)
        .containsExactly(EntryState.DUPLICATE, EntryState.REJECTED);
  }

  @Test
  void a_message_without_a_result_that_the_mapping_selects_is_held_whole() {
    String vitals =
        message("1", "mL", "1")
            .replace("98856-8^US Urinary bladder Volume post void^LN", "8302-2^^LN");
    MessageDesk.Kept kept = desk.receive(ROWAN, "mllp", bytes(vitals));
    assertThat(kept.held()).extracting(MessageDesk.Held::code).containsExactly("no-entries");
  }
}
