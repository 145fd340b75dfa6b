// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.fhir.FhirJson;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.IdType;
import org.hl7.fhir.r4.model.OperationOutcome;
import org.jspecify.annotations.Nullable;

/** Reads the answer to a transaction, line by line: a 200 outside says nothing about the inside. */
final class Transaction {
  private Transaction() {}

  /**
   * One entry of the answer.
   *
   * @param status 0 where it gives none
   * @param location {@code Type/id}; null where it gives none
   * @param version null where it gives none
   */
  record Line(
      int status,
      @Nullable String location,
      @Nullable String version,
      @Nullable OperationOutcome outcome) {}

  /** The answer as a Bundle with as many entries as were sent; null where it is anything else. */
  static @Nullable Bundle response(String body, int entries) {
    return response(body, entries, false);
  }

  /** The same for a batch that asks for what may well not be there. */
  static @Nullable Bundle reads(String body, int entries) {
    return response(body, entries, true);
  }

  private static @Nullable Bundle response(String body, int entries, boolean reads) {
    Bundle usual = UsualAnswer.read(body, reads);
    Bundle bundle = usual == null ? FhirJson.parseOrNull(Bundle.class, body) : usual;
    return bundle != null && bundle.getEntry().size() == entries ? bundle : null;
  }

  static Line line(Bundle response, int index) {
    Bundle.BundleEntryResponseComponent line = response.getEntry().get(index).getResponse();
    String text = line.getStatus() == null ? "" : line.getStatus().strip();
    int status = text.matches("\\d{3}.*") ? Integer.parseInt(text.substring(0, 3)) : 0;
    IdType at = new IdType(line.getLocation());
    String location =
        at.hasIdPart() && at.hasResourceType() ? at.getResourceType() + "/" + at.getIdPart() : null;
    OperationOutcome outcome =
        line.getOutcome() instanceof OperationOutcome operation ? operation : null;
    return new Line(status, location, version(line, at), outcome);
  }

  private static @Nullable String version(Bundle.BundleEntryResponseComponent line, IdType at) {
    if (at.hasVersionIdPart()) {
      return at.getVersionIdPart();
    }
    String etag = line.getEtag();
    return etag == null || etag.isBlank() ? null : unquoted(etag);
  }

  /** The version in an ETag: {@code W/"3"} is 3. */
  static String unquoted(String etag) {
    String text = etag.strip();
    text = text.startsWith("W/") ? text.substring(2) : text;
    return text.replace("\"", "");
  }
}
