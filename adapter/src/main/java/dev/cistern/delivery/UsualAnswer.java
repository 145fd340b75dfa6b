// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import com.fasterxml.jackson.core.JsonFactory;
import com.fasterxml.jackson.core.JsonParser;
import com.fasterxml.jackson.core.JsonToken;
import java.io.IOException;
import java.util.Set;
import org.hl7.fhir.r4.model.Bundle;
import org.jspecify.annotations.Nullable;

/**
 * Reads the answer to a transaction or a batch in which everything went as it usually does, taking
 * only what is looked at: statuses, places and versions. The FHIR parser makes objects of every
 * word of such an answer, most of which say again that all went well. Where anything is unusual,
 * nothing is read here, and the parser is to read it all.
 */
final class UsualAnswer {
  private static final JsonFactory JSON = new JsonFactory();

  /** What a search that finds nothing may say beside that. */
  private static final Set<String> OF_AN_EMPTY_SEARCH =
      Set.of("resourceType", "id", "meta", "type", "total", "link", "timestamp");

  private UsualAnswer() {}

  /** Says that the parser is to read it. */
  private static final class Unusual extends IOException {
    private static final long serialVersionUID = 1L;
  }

  /**
   * @param reads whether it was asked for what may well not be there: then 404 and 410 are usual
   * @return null where it is anything but usual
   */
  static @Nullable Bundle read(String body, boolean reads) {
    try (JsonParser in = JSON.createParser(body)) {
      Bundle bundle = new Bundle();
      boolean isBundle = false;
      require(in.nextToken() == JsonToken.START_OBJECT);
      while (in.nextToken() != JsonToken.END_OBJECT) {
        String field = in.currentName();
        in.nextToken();
        switch (field) {
          case "resourceType" -> isBundle = in.getText().equals("Bundle");
          case "entry" -> {
            require(in.currentToken() == JsonToken.START_ARRAY);
            while (in.nextToken() != JsonToken.END_ARRAY) {
              entry(in, bundle.addEntry(), reads);
            }
          }
          default -> in.skipChildren();
        }
      }
      require(isBundle && in.nextToken() == null);
      return bundle;
    } catch (IOException e) {
      return null;
    }
  }

  private static void entry(JsonParser in, Bundle.BundleEntryComponent entry, boolean reads)
      throws IOException {
    require(in.currentToken() == JsonToken.START_OBJECT);
    while (in.nextToken() != JsonToken.END_OBJECT) {
      String field = in.currentName();
      in.nextToken();
      switch (field) {
        case "response" -> response(in, entry.getResponse(), reads);
        case "resource" -> {
          require(reads);
          emptySearch(in);
          entry.setResource(new Bundle().setType(Bundle.BundleType.SEARCHSET));
        }
        default -> in.skipChildren();
      }
    }
    require(entry.hasResponse());
  }

  private static void response(
      JsonParser in, Bundle.BundleEntryResponseComponent response, boolean reads)
      throws IOException {
    require(in.currentToken() == JsonToken.START_OBJECT);
    while (in.nextToken() != JsonToken.END_OBJECT) {
      String field = in.currentName();
      in.nextToken();
      switch (field) {
        case "status" -> response.setStatus(text(in));
        case "location" -> response.setLocation(text(in));
        case "etag" -> response.setEtag(text(in));
        case "lastModified", "outcome" -> in.skipChildren();
        default -> throw new Unusual();
      }
    }
    String status = response.getStatus();
    require(
        status != null
            && (status.startsWith("2")
                || (reads && (status.startsWith("404") || status.startsWith("410")))));
  }

  private static void emptySearch(JsonParser in) throws IOException {
    boolean isBundle = false;
    require(in.currentToken() == JsonToken.START_OBJECT);
    while (in.nextToken() != JsonToken.END_OBJECT) {
      String field = in.currentName();
      in.nextToken();
      require(OF_AN_EMPTY_SEARCH.contains(field));
      isBundle |= field.equals("resourceType") && in.getText().equals("Bundle");
      in.skipChildren();
    }
    require(isBundle);
  }

  private static String text(JsonParser in) throws IOException {
    require(in.currentToken() == JsonToken.VALUE_STRING);
    return in.getText();
  }

  private static void require(boolean usual) throws Unusual {
    if (!usual) {
      throw new Unusual();
    }
  }
}
