// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import static org.assertj.core.api.Assertions.assertThat;

import ca.uhn.fhir.parser.IParser;
import java.util.Map;
import java.util.function.Consumer;
import java.util.stream.Stream;
import org.hl7.fhir.r4.model.Annotation;
import org.hl7.fhir.r4.model.CodeType;
import org.hl7.fhir.r4.model.Extension;
import org.hl7.fhir.r4.model.IdType;
import org.hl7.fhir.r4.model.MarkdownType;
import org.hl7.fhir.r4.model.Narrative;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Patient;
import org.hl7.fhir.r4.model.Reference;
import org.hl7.fhir.r4.model.Resource;
import org.hl7.fhir.r4.model.StringType;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.MethodSource;

/** What stands at a server may hold anything: nothing of it may be lost when it is written back. */
class ResourceWriterTest {
  private static final Map<String, Consumer<Observation>> ODD =
      Map.ofEntries(
          Map.entry("narrative", o -> o.setText(narrative())),
          Map.entry("contained", o -> o.setSubject(new Reference(contained()))),
          Map.entry("language", o -> o.setLanguage("de")),
          Map.entry("id with a version", o -> o.setId("Observation/7/_history/3")),
          Map.entry("id with a base", o -> o.setId("http://127.0.0.1/fhir/Observation/7")),
          Map.entry("version", o -> o.getMeta().setVersionId("3")),
          Map.entry("profile", o -> o.getMeta().addProfile("http://cistern.example/p")),
          Map.entry("label", o -> o.getMeta().addSecurity("urn:labels", "R", "restricted")),
          Map.entry(
              "versioned reference", o -> o.setSubject(new Reference("Patient/1/_history/2"))),
          Map.entry("whole reference", o -> o.setSubject(new Reference("http://h/f/Patient/1"))),
          Map.entry("element with an id", o -> o.getCode().setId("c1")),
          Map.entry("value with an id", o -> o.getStatusElement().setId("s1")),
          Map.entry(
              "extension of a value",
              o -> o.getIssuedElement().addExtension(new Extension("urn:x", new CodeType("y")))),
          Map.entry(
              "extension only",
              o -> o.getSubject().getDisplayElement().addExtension("urn:x", new CodeType("y"))),
          Map.entry("nested extension", o -> o.addExtension(nested())),
          Map.entry(
              "modifier", o -> o.addModifierExtension(new Extension("urn:m", new CodeType("z")))),
          Map.entry(
              "modifier inside",
              o ->
                  o.getComponentFirstRep()
                      .addModifierExtension(new Extension("urn:m", new CodeType("z")))),
          Map.entry("note", o -> o.addNote(new Annotation(new MarkdownType("a\n*b*\t\u2028")))),
          Map.entry("text for a value", o -> o.setValue(new StringType(" padded "))),
          Map.entry("empty text", o -> o.setValue(new StringType(""))),
          Map.entry("nothing in a list", o -> o.addIdentifier()),
          Map.entry("id in a list", o -> o.getDevice().setReferenceElement(new IdType("Device/1"))),
          Map.entry("comment", o -> o.getFormatCommentsPre().add("of the sender")));

  static Stream<String> oddities() {
    return ODD.keySet().stream().sorted();
  }

  /** As HAPI's parser writes it, under the settings of this program. */
  static String parsersOwn(Resource resource) {
    IParser parser = FhirJson.context().newJsonParser();
    parser.setOverrideResourceIdWithBundleEntryFullUrl(false);
    return parser.encodeResourceToString(resource);
  }

  @ParameterizedTest
  @MethodSource("oddities")
  void whatever_a_resource_holds_is_written_as_the_parser_writes_it(String oddity) {
    Observation observation =
        new ResourceBuilder(Examples.SETTINGS).observation(Examples.residual().release());
    java.util.Objects.requireNonNull(ODD.get(oddity)).accept(observation);

    assertThat(FhirJson.encode(observation)).isEqualTo(parsersOwn(observation));
  }

  private static Narrative narrative() {
    Narrative narrative = new Narrative().setStatus(Narrative.NarrativeStatus.GENERATED);
    narrative.setDivAsString("<div xmlns=\"http://www.w3.org/1999/xhtml\">142 mL</div>");
    return narrative;
  }

  private static Patient contained() {
    Patient patient = new Patient();
    patient.addIdentifier().setSystem(Examples.PATIENT_SYSTEM).setValue("TST000123");
    return patient;
  }

  private static Extension nested() {
    Extension outer = new Extension("urn:outer");
    outer.addExtension(new Extension("urn:inner", new Reference("Location/1")));
    return outer;
  }
}
