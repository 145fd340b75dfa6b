// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import dev.cistern.fhir.Packed.SharedDevice;
import dev.cistern.fhir.Packed.Span;
import dev.cistern.scan.Derived;
import dev.cistern.scan.ScanKey;
import java.util.ArrayList;
import java.util.EnumMap;
import java.util.HashSet;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import java.util.Set;
import java.util.function.Supplier;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Bundle.BundleEntryComponent;
import org.hl7.fhir.r4.model.Bundle.BundleType;
import org.hl7.fhir.r4.model.Bundle.HTTPVerb;
import org.hl7.fhir.r4.model.Device;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Provenance;
import org.hl7.fhir.r4.model.Reference;
import org.hl7.fhir.r4.model.Resource;
import org.jspecify.annotations.Nullable;

/**
 * Packs releases into one transaction that can be sent again and again. The same input gives the
 * same bytes.
 */
public final class BundleBuilder {

  /** How Devices and Provenances, which many results share or nothing identifies, are written. */
  public enum Mode {
    /** PUT under ids of our own, on a server that creates by update. */
    PUT,
    /** POST that the server ignores where the thing is there already. */
    CREATE_ONCE
  }

  private final ResourceBuilder resources;
  private final Mode mode;

  public BundleBuilder(ResourceBuilder resources, Mode mode) {
    this.resources = resources;
    this.mode = mode;
  }

  /**
   * Devices first, then each release's Observation, what is derived from it, and the Provenance of
   * them all.
   *
   * @throws IllegalArgumentException where two items have the same key
   * @throws IllegalStateException as {@link ResourceBuilder#observation}
   */
  public Packed transaction(List<Outgoing> items, KnownDevices known) {
    Packing packing = new Packing(known);
    Set<ScanKey> keys = new HashSet<>();
    for (Outgoing item : items) {
      if (!keys.add(item.release().key())) {
        throw new IllegalArgumentException(
            "two items of one bundle have the key " + item.release().key().hash());
      }
      packing.declareDevices(item.release());
    }
    items.forEach(packing::add);
    return packing.packed();
  }

  /**
   * Only the Devices that these releases need and that are not known: sent ahead, so that bundles
   * sent side by side do not race to create the same Device. Empty where all are known.
   */
  public Packed devices(List<Release> releases, KnownDevices known) {
    Packing packing = new Packing(known);
    releases.forEach(packing::declareDevices);
    return packing.packed();
  }

  /** One bundle while it is being filled. */
  private final class Packing {
    private final KnownDevices known;
    private final Bundle bundle = new Bundle().setType(BundleType.TRANSACTION);
    private final List<Span> spans = new ArrayList<>();
    private final List<SharedDevice> devices = new ArrayList<>();

    /** Identifier to what an Observation says of the Device: a full URL or a reference. */
    private final Map<String, String> deviceReferences = new LinkedHashMap<>();

    Packing(KnownDevices known) {
      this.known = known;
    }

    void declareDevices(Release release) {
      Token scanner = resources.deviceToken(release.scan());
      if (scanner != null) {
        declare(scanner, () -> Objects.requireNonNull(resources.device(release.scan())));
      }
      declare(resources.adapterToken(), resources::adapterDevice);
    }

    /** Nearly all are known: a Device is built only where it is written. */
    private void declare(Token token, Supplier<Device> device) {
      String identifier = token.search();
      if (deviceReferences.containsKey(identifier)) {
        return;
      }
      String reference = known.referenceOf(identifier);
      if (reference == null) {
        reference = Fingerprint.urn("Device", token.system(), token.value());
        devices.add(new SharedDevice(identifier, bundle.getEntry().size()));
        addShared(device.get(), reference, resources.deviceId(token), token.query("identifier"));
      }
      deviceReferences.put(identifier, reference);
    }

    void add(Outgoing item) {
      Release release = item.release();
      String url = Fingerprint.urn("Observation", release.key().hash());
      Observation built = resources.observation(release);
      String tag = resources.releaseTag(release, built, item.kinds());
      Observation body = item.body();
      Observation observation = body == null ? withDevice(release, built) : body.copy();
      int index = addObservation(observation, url, release.key(), item.write());
      Provenance provenance = resources.provenance(release, url, tag);
      provenance.getAgentFirstRep().setWho(new Reference(reference(resources.adapterToken())));
      Map<Derived, Integer> derived = new EnumMap<>(Derived.class);
      for (Outgoing.Part part : item.derived()) {
        ScanKey key = resources.derivedKey(part.kind(), release.key());
        String derivedUrl = Fingerprint.urn("Observation", key.hash());
        derived.put(
            part.kind(), addObservation(part(part, release, url), derivedUrl, key, part.write()));
        provenance.addTarget(new Reference(derivedUrl));
      }
      int last = bundle.getEntry().size();
      addShared(
          provenance,
          Fingerprint.urn("Provenance", tag),
          resources.provenanceId(release, tag),
          new Token(resources.settings().releaseSystem(), tag).query("_tag"));
      spans.add(new Span(release.key(), index, derived, List.of(last)));
    }

    private Observation part(Outgoing.Part part, Release release, String source) {
      Observation body = part.body();
      if (body != null) {
        return body.copy();
      }
      Observation built = resources.derived(part.kind(), release);
      built.getDerivedFromFirstRep().setReference(source);
      return built;
    }

    private Observation withDevice(Release release, Observation observation) {
      Token scanner = resources.deviceToken(release.scan());
      if (scanner != null) {
        observation.getDevice().setReference(reference(scanner));
      }
      return observation;
    }

    private @Nullable String reference(Token device) {
      return deviceReferences.get(device.search());
    }

    private int addObservation(Observation observation, String url, ScanKey key, Write write) {
      int index = bundle.getEntry().size();
      if (write instanceof Write.Put put) {
        putUnder(resources.observationId(key), observation, url, put.ifMatch());
      } else if (write instanceof Write.Update update) {
        putUnder(update.observationId(), observation, url, update.ifMatch());
      } else if (write instanceof Write.CreateOnce) {
        createOnce(observation, url, resources.resultToken(key).query("identifier"));
      }
      return index;
    }

    private void addShared(Resource resource, String url, String id, String query) {
      switch (mode) {
        case PUT -> putUnder(id, resource, url, null);
        case CREATE_ONCE -> createOnce(resource, url, query);
      }
    }

    private void putUnder(String id, Resource resource, String url, @Nullable String ifMatch) {
      resource.setId(id);
      BundleEntryComponent entry = bundle.addEntry().setFullUrl(url).setResource(resource);
      entry.getRequest().setMethod(HTTPVerb.PUT).setUrl(resource.fhirType() + "/" + id);
      if (ifMatch != null) {
        entry.getRequest().setIfMatch("W/\"" + ifMatch + "\"");
      }
    }

    private void createOnce(Resource resource, String url, String query) {
      resource.setId((String) null);
      BundleEntryComponent entry = bundle.addEntry().setFullUrl(url).setResource(resource);
      entry.getRequest().setMethod(HTTPVerb.POST).setUrl(resource.fhirType()).setIfNoneExist(query);
    }

    Packed packed() {
      return new Packed(bundle, spans, devices);
    }
  }
}
