// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.fhir.BundleBuilder;
import dev.cistern.fhir.FhirJson;
import dev.cistern.fhir.KnownDevices;
import dev.cistern.fhir.Packed;
import dev.cistern.fhir.Release;
import dev.cistern.wire.Answer;
import dev.cistern.wire.FhirHttp;
import java.util.List;
import java.util.Map;
import java.util.concurrent.ConcurrentHashMap;
import org.hl7.fhir.r4.model.Bundle;
import org.jspecify.annotations.Nullable;

/**
 * Devices that are at the server. A Device that is not known is sent ahead of the results, by one
 * sender at a time: bundles that are sent side by side would race to create it.
 */
final class Devices implements KnownDevices {
  private final Map<String, String> references = new ConcurrentHashMap<>();
  private final FhirHttp http;

  Devices(FhirHttp http) {
    this.http = http;
  }

  @Override
  public @Nullable String referenceOf(String deviceIdentifier) {
    return references.get(deviceIdentifier);
  }

  /** Makes sure that the Devices of these releases are at the server; null once they are. */
  @Nullable Answer ensure(List<Release> releases, BundleBuilder builder) {
    if (builder.devices(releases, this).devices().isEmpty()) {
      return null;
    }
    synchronized (this) {
      Packed missing = builder.devices(releases, this);
      if (missing.devices().isEmpty()) {
        return null;
      }
      Answer answer = http.post("", FhirHttp.FHIR_JSON, FhirJson.encode(missing.bundle()));
      return answer instanceof Answer.Answered answered && answered.status() == 200
          ? learn(missing, answered)
          : answer;
    }
  }

  private @Nullable Answer learn(Packed sent, Answer.Answered answered) {
    Bundle response = Transaction.response(answered.body(), sent.bundle().getEntry().size());
    if (response == null) {
      return new Answer.Unknown("the answer about devices was not FHIR");
    }
    for (Packed.SharedDevice device : sent.devices()) {
      Transaction.Line line = Transaction.line(response, device.index());
      if (line.location() == null) {
        return new Answer.Unknown("the answer about devices names no location");
      }
      references.put(device.identifier(), line.location());
    }
    return null;
  }

  /** After a server lost or changed what we knew. */
  void forget() {
    references.clear();
  }
}
