// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.delivery.ReadBack;
import dev.cistern.demo.server.SmallFhirServer;
import dev.cistern.fhir.Outgoing;
import dev.cistern.intake.Intake;
import dev.cistern.ledger.Entry;
import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Handover;
import dev.cistern.plant.Plant;
import dev.cistern.refine.SubmissionRefiner;
import dev.cistern.work.Dossier;
import dev.cistern.work.SiteDesk;
import dev.cistern.work.SiteText;
import java.io.ByteArrayInputStream;
import java.nio.charset.StandardCharsets;
import java.nio.file.Path;
import java.time.Clock;
import java.util.List;
import java.util.Objects;
import org.hl7.fhir.r4.model.Patient;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** Policy and codes change while results are on their way, with a server that takes them. */
class TermsInFlightTest {
  private static final String ELM = "elm-ward-export";
  private static final String ACTOR = "account n.ash";

  @TempDir Path folder;

  private static String policy(int version, int high) {
    return """
        policy: alder-vale
        version: %1$d
        author: A. Ash
        date: 2026-03-01
        source: ward round
        interpretation:
          name: alder-vale-residual
          version: %1$d
          author: A. Ash
          date: 2026-03-01
          source: ward round
          rows:
            - { purpose: pre-void, atLeast: %2$d, code: H }
        """
        .formatted(version, high);
  }

  private static void activate(Plant plant, SiteText which, String text) {
    SiteDesk desk = new SiteDesk(plant);
    String before = dev.cistern.work.MappingDesk.sha(desk.text(which));
    desk.activate(ACTOR, which, text, before, "tried");
  }

  private static Entry received(Plant plant, String exam) throws Exception {
    String text =
        "PatNo;Date;Time;Vol;Unit;Kind;LastVoid;Voided;Set;Serial;ExamNo;User\n"
            + "9990000018;14.03.2026;09:05:00;142;ml;PRE;;;F;AV-0012;"
            + exam
            + ";N4471\n";
    long submission =
        new Intake(plant.ledger(), ACTOR)
            .receive(
                new Handover(ELM, "file", exam, null, null),
                new ByteArrayInputStream(text.getBytes(StandardCharsets.UTF_8)));
    new SubmissionRefiner(plant.ledger(), plant.feeds(), plant.refinery(), ACTOR, filed -> {})
        .refine();
    return plant.ledger().records().entriesOf(submission, 0, 1).get(0);
  }

  private static Entry again(Plant plant, Entry entry) {
    return plant.ledger().records().entry(entry.id()).orElseThrow();
  }

  private static String sent(Plant plant, Entry entry) {
    return Objects.requireNonNull(Dossier.bundle(plant, again(plant, entry)));
  }

  /** In what the result at the server differs from what is taken to have been written. */
  private static List<String> differences(Plant plant, Entry entry) {
    Outgoing written =
        Objects.requireNonNull(plant.postbox().parcels().written(again(plant, entry)));
    ReadBack.Seen seen = plant.postbox().readBack().of(written);
    return ((ReadBack.Seen.There) seen)
        .differences().stream().filter(path -> !path.contains(".subject")).toList();
  }

  @Test
  void a_result_keeps_the_policy_that_it_was_checked_under_and_the_codes_that_it_was_sent_with()
      throws Exception {
    try (SmallFhirServer server = SmallFhirServer.start("127.0.0.1", 0, true, Clock.systemUTC())) {
      Patient patient = new Patient();
      patient.addIdentifier().setSystem(Site.SYSTEM).setValue("9990000018");
      server.seed(patient);
      Entry waiting;
      try (Plant plant = Site.plant(folder, server.base())) {
        new SiteDesk(plant).noteFiles(ACTOR);
        activate(plant, SiteText.POLICY, policy(1, 100));
        waiting = received(plant, "0101");
        assertThat(waiting.state()).isEqualTo(EntryState.READY);
        activate(plant, SiteText.POLICY, policy(2, 900));
        Entry later = received(plant, "0102");
        assertThat(waiting.policy()).isEqualTo("alder-vale@1");
        assertThat(later.policy()).isEqualTo("alder-vale@2");
        assertThat(sent(plant, waiting)).contains("alder-vale-residual, version 1");
        assertThat(sent(plant, later)).doesNotContain("alder-vale-residual");
      }
      try (Plant plant = Site.plant(folder, server.base())) {
        new SiteDesk(plant).noteFiles(ACTOR);
        assertThat(plant.refinery().checks().policy().versioned()).isEqualTo("alder-vale@2");
        assertThat(sent(plant, waiting))
            .as("after a restart, too")
            .contains("alder-vale-residual, version 1");
        assertThat(plant.postbox().delivery().deliver()).isPositive();
        assertThat(again(plant, waiting).state()).isEqualTo(EntryState.DELIVERED);

        String codes = SiteDesk.shipped(SiteText.CODES);
        activate(
            plant,
            SiteText.CODES,
            codes.replace(
                "bladder-volume-pre-void,http://loinc.org,,,",
                "bladder-volume-pre-void,http://alder-vale.example/codes,AV-PRE,,"));
        Entry fresh = received(plant, "0103");
        assertThat(sent(plant, fresh)).contains("AV-PRE");
        assertThat(sent(plant, waiting)).as("as it was sent").doesNotContain("AV-PRE");
        assertThat(differences(plant, waiting)).as("none is made up").isEmpty();
        plant.postbox().delivery().deliver();
        assertThat(differences(plant, fresh)).isEmpty();
      }
      try (Plant plant = Site.plant(folder, server.base())) {
        new SiteDesk(plant).noteFiles(ACTOR);
        assertThat(differences(plant, waiting)).as("after a restart, too").isEmpty();
      }
    }
  }
}
