// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import dev.cistern.scan.Derived;
import dev.cistern.scan.Scan;
import dev.cistern.scan.ScanKey;
import java.util.List;
import org.hl7.fhir.r4.model.CodeableConcept;
import org.hl7.fhir.r4.model.Coding;
import org.hl7.fhir.r4.model.Device;
import org.hl7.fhir.r4.model.Device.DeviceNameType;
import org.hl7.fhir.r4.model.Identifier;
import org.hl7.fhir.r4.model.InstantType;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Observation.ObservationStatus;
import org.hl7.fhir.r4.model.Provenance;
import org.hl7.fhir.r4.model.Reference;
import org.jspecify.annotations.Nullable;

/**
 * Builds the resources of a release. Everything depends on the release and the settings alone: the
 * same result gives the same resources with the same ids, today and after a restart.
 */
public final class ResourceBuilder {
  private final FhirSettings settings;

  public ResourceBuilder(FhirSettings settings) {
    this.settings = settings;
  }

  public FhirSettings settings() {
    return settings;
  }

  /** The id under which a server that takes our ids keeps the result; never all digits. */
  public String observationId(ScanKey key) {
    return "ctn-" + key.hash();
  }

  /** By what the result is known again. */
  public Token resultToken(ScanKey key) {
    return new Token(settings.resultSystem(), key.hash());
  }

  /** By what a derived value is known again; its id and identifier follow as for a result. */
  public ScanKey derivedKey(Derived kind, ScanKey source) {
    return new ScanKey(Fingerprint.hex(40, "derived", kind.code(), source.hash()));
  }

  /**
   * A derived value, without an id. What it is derived from is named by identifier. Where it is
   * undefined it is withdrawn: it stood, and what it stood on is gone.
   */
  public Observation derived(Derived kind, Release release) {
    return DerivedParts.build(kind, release, this);
  }

  /**
   * The result itself, without an id. Its device is named by serial number.
   *
   * @throws IllegalStateException where the scan has neither a volume nor a reason for having none
   *     (or both): the checks let no such scan through
   */
  public Observation observation(Release release) {
    return ObservationParts.build(release, settings);
  }

  /**
   * Where the result comes from and who made it: target, adapter, operator, mapping, policy, and
   * the SHA-256 of the bytes.
   *
   * @param observationReference what it is about
   */
  public Provenance provenance(Release release, String observationReference) {
    return provenance(release, observationReference, releaseTag(release));
  }

  /** The same for a caller that has the {@link #releaseTag}: making it costs more than the rest. */
  Provenance provenance(Release release, String observationReference, String releaseTag) {
    return ProvenanceParts.build(release, observationReference, releaseTag, this);
  }

  /** The id of {@link #provenance} on a server that takes our ids: one for each version sent. */
  public String provenanceId(Release release) {
    return provenanceId(release, releaseTag(release));
  }

  /** The same for a caller that has the {@link #releaseTag}. */
  String provenanceId(Release release, String releaseTag) {
    return "ctn-p-" + Fingerprint.hex(40, release.key().hash(), releaseTag);
  }

  /**
   * By what the Provenance of this version of the result is known again: key, revision, and a sum
   * over all that is said.
   */
  public String releaseTag(Release release) {
    return releaseTag(release, observation(release), List.of());
  }

  /**
   * The same for a result with values that are derived from it.
   *
   * @param kinds what is derived from it and written with it
   */
  public String releaseTag(Release release, List<Derived> kinds) {
    return releaseTag(release, observation(release), kinds);
  }

  /**
   * The same for a caller that has built the Observation.
   *
   * @param built as {@link #observation} gives it; unchanged afterwards
   * @param kinds what is derived from it and written with it
   */
  String releaseTag(Release release, Observation built, List<Derived> kinds) {
    StringBuilder content = new StringBuilder(undated(built));
    kinds.forEach(kind -> content.append(undated(derived(kind, release))));
    Integer revision = release.scan().handling().revision();
    String sum =
        Fingerprint.hex(
            12, content.toString(), release.rawSha256(), release.mapping(), release.policy());
    return release.key().hash() + "." + (revision == null ? 0 : revision) + "." + sum;
  }

  /** When it was accepted is no part of what is said. */
  private static String undated(Observation built) {
    InstantType issued = built.getIssuedElement();
    String content = FhirJson.encode(built.setIssuedElement(null));
    built.setIssuedElement(issued);
    return content;
  }

  /**
   * What the scans of one sitting have in common: the exam of the device. Null for a scan that has
   * no number among others.
   */
  public @Nullable Token sittingToken(Scan scan) {
    String serial = scan.device().serial();
    String exam = scan.handling().examId();
    return serial == null || exam == null || scan.handling().scanNumber() == null
        ? null
        : new Token(settings.sittingSystem(), Fingerprint.hex(40, "sitting", serial, exam));
  }

  /** The scanner; null where the scan does not say which. */
  public @Nullable Device device(Scan scan) {
    Token token = deviceToken(scan);
    if (token == null) {
      return null;
    }
    Device device = new Device();
    device.addIdentifier(serialNumber(token));
    device.setSerialNumber(token.value());
    String model = scan.device().model();
    if (model != null) {
      device.addDeviceName().setName(model).setType(DeviceNameType.MODELNAME);
    }
    device.setType(new CodeableConcept().setText("Portable ultrasound bladder scanner"));
    return device;
  }

  /** By what a scanner is known again; null where the scan does not say which. */
  public @Nullable Token deviceToken(Scan scan) {
    String serial = scan.device().serial();
    return serial == null ? null : new Token(settings.deviceSystem(), serial);
  }

  /**
   * This adapter, in this version: a new version is a new Device, so that a Provenance says which
   * program built the result.
   */
  public Device adapterDevice() {
    Device device = new Device();
    Token token = adapterToken();
    device.addIdentifier().setSystem(token.system()).setValue(token.value());
    device.addDeviceName().setName("Cistern").setType(DeviceNameType.USERFRIENDLYNAME);
    device.setType(new CodeableConcept().setText("FHIR integration adapter"));
    device.addVersion().setValue(settings.adapterVersion());
    return device;
  }

  /** By what this adapter in this version is known again. */
  public Token adapterToken() {
    return new Token(settings.adapterSystem(), settings.node() + "/" + settings.adapterVersion());
  }

  /** The id of a Device on a server that takes our ids. */
  public String deviceId(Token device) {
    return "ctn-d-" + Fingerprint.hex(40, device.system(), device.value());
  }

  /**
   * What stands at the server, withdrawn, with everything else as it is. For a result that went to
   * the wrong patient: it stays with that patient, marked as an error.
   */
  public static Observation retracted(Observation current) {
    return current.copy().setStatus(ObservationStatus.ENTEREDINERROR);
  }

  /** A reference that works wherever the Device may be. */
  static Reference byIdentifier(String type, Identifier identifier) {
    return new Reference().setType(type).setIdentifier(identifier);
  }

  static Identifier serialNumber(Token token) {
    Identifier identifier = new Identifier().setSystem(token.system()).setValue(token.value());
    identifier.setType(
        new CodeableConcept(
            new Coding("http://terminology.hl7.org/CodeSystem/v2-0203", "SNO", "Serial Number")));
    return identifier;
  }
}
