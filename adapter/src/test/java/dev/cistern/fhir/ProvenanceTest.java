// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Finding;
import dev.cistern.scan.Severity;
import dev.cistern.scan.Status;
import dev.cistern.scan.Volume;
import dev.cistern.testing.FhirRules;
import java.time.Instant;
import java.util.List;
import org.hl7.fhir.r4.model.Coding;
import org.hl7.fhir.r4.model.Provenance;
import org.hl7.fhir.r4.model.Provenance.ProvenanceAgentComponent;
import org.hl7.fhir.r4.model.UriType;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;

class ProvenanceTest {
  private static final ResourceBuilder BUILDER = new ResourceBuilder(Examples.SETTINGS);

  @Test
  void it_says_what_it_is_about_who_made_it_and_from_what() {
    Provenance provenance = built(Examples.residual());

    assertThat(provenance.getTargetFirstRep().getReference()).isEqualTo("Observation/1");
    assertThat(provenance.getRecordedElement().getValueAsString())
        .isEqualTo("2026-03-14T08:06:30.250Z");
    assertThat(provenance.getAgent())
        .extracting(agent -> agent.getType().getCodingFirstRep().getCode())
        .containsExactly("assembler", "author");
    assertThat(provenance.getAgent())
        .extracting(ProvenanceAgentComponent::getWho)
        .extracting(who -> who.getIdentifier().getValue())
        .containsExactly("alder-vale-1/0.1.0", "N4471");
    assertThat(provenance.getPolicy())
        .extracting(UriType::getValue)
        .containsExactly(
            "urn:cistern:mapping:elm-ward-export@3f9a1c", "urn:cistern:policy:alder-vale@2026-02");
    assertThat(provenance.getEntityFirstRep().getWhat().getIdentifier().getValue())
        .isEqualTo("5feceb66ffc86f38d952786c6d696c79c2dbc239dd4e91b46729d73a27fb57e9");
    assertThat(FhirRules.errors(FhirJson.encode(provenance))).isEmpty();
  }

  @ParameterizedTest
  @CsvSource({
    "FINAL, CREATE",
    "PRELIMINARY, CREATE",
    "CANCELLED, CREATE",
    "CORRECTED, UPDATE",
    "AMENDED, UPDATE",
    "ENTERED_IN_ERROR, NULLIFY"
  })
  void its_activity_follows_the_status(Status status, String activity) {
    Examples example = Examples.residual();
    example.status = status;

    Provenance provenance = built(example);

    assertThat(provenance.getActivity().getCodingFirstRep().getCode()).isEqualTo(activity);
    assertThat(FhirRules.errors(FhirJson.encode(provenance))).isEmpty();
  }

  @Test
  void warnings_travel_as_codes_without_their_words() {
    Examples example = Examples.residual();
    example.findings =
        List.of(
            new Finding("void-time-missing", Severity.WARN, null, "quotes 4711", "ask"),
            new Finding("volume-zero", Severity.NOTE, null, "quotes 4711", "nothing"),
            new Finding("void-time-missing", Severity.WARN, null, "quotes 4712", "ask"));

    Provenance provenance = built(example);

    assertThat(provenance.getMeta().getTag())
        .filteredOn(tag -> tag.getSystem().equals("urn:cistern:finding"))
        .extracting(Coding::getCode)
        .containsExactly("void-time-missing");
    assertThat(FhirJson.encode(provenance)).doesNotContain("quotes");
  }

  @Test
  void names_with_odd_characters_still_make_a_uri() {
    Release r = Examples.residual().release();
    Release odd =
        new Release(
            r.scan(),
            r.key(),
            r.source(),
            "elm@ward: day/night@1 % 2",
            "",
            r.rawSha256(),
            r.acceptedAt(),
            r.patient(),
            r.findings());

    Provenance provenance = BUILDER.provenance(odd, "Observation/1");

    assertThat(provenance.getPolicy())
        .extracting(UriType::getValue)
        .containsExactly("urn:cistern:mapping:elm%40ward%3A%20day%2Fnight@1%20%25%202");
    assertThat(FhirRules.errors(FhirJson.encode(provenance))).isEmpty();
  }

  @Test
  void accepting_the_same_again_later_is_the_same_version() {
    Examples later = Examples.residual();
    later.acceptedAt = Instant.parse("2026-03-15T00:00:00Z");

    assertThat(BUILDER.releaseTag(later.release()))
        .isEqualTo(BUILDER.releaseTag(Examples.residual().release()));
  }

  @Test
  void another_value_revision_or_status_is_another_version_of_the_same_result() {
    Examples value = Examples.residual();
    value.volume = Volume.millilitres(143);
    Examples revision = Examples.residual();
    revision.revision = 2;
    Examples status = Examples.residual();
    status.status = Status.CORRECTED;

    List<String> tags =
        List.of(Examples.residual(), value, revision, status).stream()
            .map(example -> BUILDER.releaseTag(example.release()))
            .toList();

    assertThat(tags)
        .doesNotHaveDuplicates()
        .allMatch(tag -> tag.startsWith(Examples.residual().release().key().hash() + "."));
    assertThat(BUILDER.provenanceId(value.release()))
        .isNotEqualTo(BUILDER.provenanceId(Examples.residual().release()));
  }

  private static Provenance built(Examples example) {
    return BUILDER.provenance(example.release(), "Observation/1");
  }
}
