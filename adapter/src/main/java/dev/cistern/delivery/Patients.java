// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import com.github.benmanes.caffeine.cache.Cache;
import com.github.benmanes.caffeine.cache.Caffeine;
import com.github.benmanes.caffeine.cache.Ticker;
import dev.cistern.fhir.FhirJson;
import dev.cistern.fhir.Token;
import dev.cistern.scan.Field;
import dev.cistern.scan.Finding;
import dev.cistern.scan.Scan;
import dev.cistern.scan.Sex;
import dev.cistern.wire.Answer;
import dev.cistern.wire.FhirHttp;
import java.net.URLEncoder;
import java.nio.charset.StandardCharsets;
import java.time.Duration;
import java.time.LocalDate;
import java.util.Collection;
import java.util.HashMap;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Locale;
import java.util.Map;
import java.util.Set;
import java.util.TreeSet;
import java.util.stream.Collectors;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.HumanName;
import org.hl7.fhir.r4.model.Identifier;
import org.hl7.fhir.r4.model.Patient;
import org.jspecify.annotations.Nullable;

/**
 * Looks patients up by their number: {@code POST Patient/_search}, so that no number stands in an
 * address. Exactly one live match is a patient; anything else is a finding, never a guess.
 */
final class Patients {
  private static final int MOST_HOPS = 3;
  private static final int MOST_KNOWN = 20_000;

  private final FhirHttp http;
  private final Cache<Token, Found> known;

  Patients(FhirHttp http, Duration remember, Ticker ticker) {
    this.http = http;
    this.known =
        Caffeine.newBuilder()
            .maximumSize(MOST_KNOWN)
            .expireAfterWrite(remember)
            .ticker(ticker)
            .build();
  }

  /** What the server holds about a patient, as far as it is compared. */
  record Found(
      String reference,
      @Nullable LocalDate birthDate,
      @Nullable String gender,
      Set<String> familyNames) {

    /** Never shows whose. */
    @Override
    public String toString() {
      return "Found[" + reference + "]";
    }
  }

  /** What a look-up came to, number by number. */
  sealed interface LookUp {
    /** The server answered; a number that is in neither map does not exist there. */
    record Done(Map<Token, Match> matches) implements LookUp {}

    /** It did not. */
    record Failed(Answer answer) implements LookUp {}
  }

  /** One number's match. */
  sealed interface Match {
    record One(Found found) implements Match {

      /** Never shows who. */
      @Override
      public String toString() {
        return "One[…]";
      }
    }

    record None() implements Match {}

    record Several(int count) implements Match {}

    record Inactive() implements Match {}

    /** The server did not say who replaced a merged record. */
    record Unanswered(Answer answer) implements Match {}
  }

  LookUp find(Collection<Token> numbers) {
    Map<Token, Match> matches = new HashMap<>();
    Set<Token> unknown = new TreeSet<>(java.util.Comparator.comparing(Token::search));
    for (Token number : numbers) {
      Found found = known.getIfPresent(number);
      if (found == null) {
        unknown.add(number);
      } else {
        matches.put(number, new Match.One(found));
      }
    }
    return unknown.isEmpty() ? new LookUp.Done(matches) : ask(unknown, matches);
  }

  private LookUp ask(Collection<Token> unknown, Map<Token, Match> matches) {
    String identifiers = unknown.stream().map(Token::search).collect(Collectors.joining(","));
    Answer answer =
        http.post(
            "Patient/_search",
            FhirHttp.FORM,
            "identifier="
                + URLEncoder.encode(identifiers, StandardCharsets.UTF_8)
                + "&_count="
                + (unknown.size() * 4 + 20));
    if (!(answer instanceof Answer.Answered answered) || answered.status() != 200) {
      return new LookUp.Failed(answer);
    }
    Bundle found = FhirJson.parseOrNull(Bundle.class, answered.body());
    if (found == null) {
      return new LookUp.Failed(
          new Answer.Unknown("the look-up of patients was not answered in FHIR"));
    }
    if (found.getLink(Bundle.LINK_NEXT) != null && unknown.size() > 1) {
      return askOneByOne(unknown, matches);
    }
    List<Patient> patients = patients(found);
    for (Token number : unknown) {
      Match match = match(number, patients);
      if (match instanceof Match.Unanswered unanswered) {
        return new LookUp.Failed(unanswered.answer());
      }
      matches.put(number, match);
      if (match instanceof Match.One one) {
        known.put(number, one.found());
      }
    }
    return new LookUp.Done(matches);
  }

  /** The server gave a part only: nobody may count as missing who would stand on the next page. */
  private LookUp askOneByOne(Collection<Token> unknown, Map<Token, Match> matches) {
    for (Token number : unknown) {
      if (ask(List.of(number), matches) instanceof LookUp.Failed failed) {
        return failed;
      }
    }
    return new LookUp.Done(matches);
  }

  private static List<Patient> patients(Bundle found) {
    return found.getEntry().stream()
        .map(Bundle.BundleEntryComponent::getResource)
        .filter(Patient.class::isInstance)
        .map(Patient.class::cast)
        .toList();
  }

  private Match match(Token number, List<Patient> patients) {
    Map<String, Patient> live = new LinkedHashMap<>();
    boolean inactive = false;
    for (Patient patient : patients) {
      if (!has(patient, number)) {
        continue;
      }
      Followed end = followed(patient);
      Patient current = end.patient();
      if (end.failed() != null) {
        return new Match.Unanswered(end.failed());
      }
      if (current == null || (current.hasActive() && !current.getActive())) {
        inactive = true;
      } else {
        live.put(current.getIdElement().getIdPart(), current);
      }
    }
    if (live.size() > 1) {
      return new Match.Several(live.size());
    }
    if (live.isEmpty()) {
      return inactive ? new Match.Inactive() : new Match.None();
    }
    return new Match.One(found(live.values().iterator().next()));
  }

  private static boolean has(Patient patient, Token number) {
    return patient.getIdentifier().stream()
        .filter(identifier -> identifier.getUse() != Identifier.IdentifierUse.OLD)
        .anyMatch(
            identifier ->
                number.value().equals(identifier.getValue())
                    && number.system().equals(identifier.getSystem()));
  }

  /** Where the trail of merged records ends: at a patient, nowhere, or at an answer that failed. */
  private record Followed(@Nullable Patient patient, @Nullable Answer failed) {
    static final Followed NOWHERE = new Followed(null, null);
  }

  private Followed followed(Patient patient) {
    Patient current = patient;
    for (int hop = 0; hop < MOST_HOPS; hop++) {
      String next = replacedBy(current);
      if (next == null) {
        return new Followed(current, null);
      }
      Answer answer = http.get(next);
      if (!(answer instanceof Answer.Answered answered)) {
        return new Followed(null, answer);
      }
      if (answered.status() == 404 || answered.status() == 410) {
        return Followed.NOWHERE;
      }
      Patient replacement =
          answered.status() == 200 ? FhirJson.parseOrNull(Patient.class, answered.body()) : null;
      if (replacement == null) {
        return new Followed(null, answer);
      }
      current = replacement;
    }
    return Followed.NOWHERE;
  }

  private static @Nullable String replacedBy(Patient patient) {
    return patient.getLink().stream()
        .filter(link -> link.getType() == Patient.LinkType.REPLACEDBY)
        .map(link -> link.getOther().getReferenceElement())
        .filter(id -> "Patient".equals(id.getResourceType()) && id.hasIdPart())
        .map(id -> "Patient/" + id.getIdPart())
        .findFirst()
        .orElse(null);
  }

  private static Found found(Patient patient) {
    java.util.Date born = patient.getBirthDate();
    return new Found(
        "Patient/" + patient.getIdElement().getIdPart(),
        born == null || patient.getBirthDateElement().getValueAsString().length() < 10
            ? null
            : LocalDate.parse(patient.getBirthDateElement().getValueAsString()),
        patient.getGender() == null ? null : patient.getGender().toCode(),
        patient.getName().stream()
            .map(HumanName::getFamily)
            .filter(java.util.Objects::nonNull)
            .map(Patients::folded)
            .collect(Collectors.toSet()));
  }

  /** Letters and digits only, without case and accents. */
  private static String folded(String name) {
    return java.text.Normalizer.normalize(name, java.text.Normalizer.Form.NFD)
        .replaceAll("[^\\p{L}\\p{N}]", "")
        .toUpperCase(Locale.ROOT);
  }

  /**
   * What the sender says about the patient, held against what the server says; null where it fits.
   */
  static @Nullable Finding compare(Scan.Subject said, Match.One match) {
    Found found = match.found();
    LocalDate born = said.birthDate();
    if (born != null && found.birthDate() != null && !born.equals(found.birthDate())) {
      return differs(Field.BIRTH_DATE, "birth date");
    }
    Sex sex = said.sex();
    if (sex != null && conflicting(sex.code(), found.gender())) {
      return differs(Field.SEX, "sex");
    }
    String name = said.name();
    if (name != null && !found.familyNames().isEmpty() && !nameFits(name, found.familyNames())) {
      return differs(Field.PATIENT_NAME, "family name");
    }
    return null;
  }

  private static boolean conflicting(String said, @Nullable String held) {
    return ("male".equals(said) && "female".equals(held))
        || ("female".equals(said) && "male".equals(held));
  }

  /** A name may come with given names in any order, so the family name only has to be in it. */
  private static boolean nameFits(String name, Set<String> familyNames) {
    String folded = folded(name);
    return familyNames.stream().anyMatch(folded::contains);
  }

  private static Finding differs(Field field, String what) {
    return DeliveryReason.DEMOGRAPHICS_DIFFER.found(
        field, "The patient number belongs to a patient with another " + what + " than was sent.");
  }

  static Finding finding(Match match) {
    if (match instanceof Match.Several several) {
      return DeliveryReason.PATIENT_AMBIGUOUS.found(
          Field.PATIENT_ID,
          "The record knows " + several.count() + " live patients with this number.");
    }
    if (match instanceof Match.Inactive) {
      return DeliveryReason.PATIENT_INACTIVE.found(
          Field.PATIENT_ID, "The patient record with this number is no longer in use.");
    }
    return DeliveryReason.PATIENT_NOT_FOUND.found(
        Field.PATIENT_ID, "The record knows no patient with this number.");
  }

  /** Forgets everything, so that the next look-up asks the server. */
  void forget() {
    known.invalidateAll();
  }
}
