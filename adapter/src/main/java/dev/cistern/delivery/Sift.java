// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import dev.cistern.delivery.FirstLook.Found;
import dev.cistern.fhir.BundleBuilder.Mode;
import dev.cistern.fhir.Differences;
import dev.cistern.fhir.ResourceBuilder;
import dev.cistern.scan.Finding;
import dev.cistern.scan.ScanKey;
import dev.cistern.wire.Answer;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import org.hl7.fhir.r4.model.Observation;
import org.jspecify.annotations.Nullable;

/**
 * Takes out of a claim what must not be written, because the server holds it already. Of results
 * that the ledger wrote before, it knows the version, and their writes name it: they need no look.
 */
final class Sift {
  private final FirstLook look;
  private final AlreadyThere alreadyThere;
  private final Single single;
  private final ResourceBuilder resources;

  Sift(FirstLook look, AlreadyThere alreadyThere, Single single, ResourceBuilder resources) {
    this.look = look;
    this.alreadyThere = alreadyThere;
    this.single = single;
    this.resources = resources;
  }

  /** What is left to be sent; of the rest the round knows what came. */
  List<Parcel> open(List<Parcel> parcels, Mode mode, Round round) {
    List<ScanKey> keys =
        parcels.stream()
            .filter(parcel -> parcel.ifMatch() == null)
            .map(parcel -> parcel.release().key())
            .toList();
    Map<ScanKey, Found> found = keys.isEmpty() ? Map.of() : look.look(keys, mode);
    for (Found each : found.values()) {
      if (each instanceof Found.NotRead not && isOfAll(not.answer())) {
        round.failed(parcels.stream().map(Parcel::entry).toList(), not.answer());
        return List.of();
      }
    }
    List<Parcel> open = new ArrayList<>();
    for (Parcel parcel : parcels) {
      Parcel left = left(parcel, found.get(parcel.release().key()), mode, round);
      if (left != null) {
        open.add(left);
      }
    }
    return open;
  }

  /** Whether it is not about the one result that was looked for. */
  private static boolean isOfAll(Answer answer) {
    if (!(answer instanceof Answer.Answered answered)) {
      return true;
    }
    return switch (AnswerClass.of(answered.status())) {
      case DONE, UNKNOWN, LATER, AUTHENTICATION, CONFIGURATION -> true;
      case CONFLICT, PRECONDITION, GONE, SERVER_ERROR, OWN_FAULT -> false;
    };
  }

  private @Nullable Parcel left(Parcel parcel, @Nullable Found found, Mode mode, Round round) {
    if (found == null || found instanceof Found.Nothing) {
      return parcel;
    } else if (found instanceof Found.There there) {
      Finding otherwise = otherwise(parcel, there.observation(), mode);
      return alreadyThere.decide(parcel, there.observation(), null, otherwise, round);
    } else if (found instanceof Found.NotRead not
        && not.answer() instanceof Answer.Answered answered) {
      String words = Words.outcome(answered.body());
      return single.failed(parcel, answered.status(), words, answered, round);
    }
    alreadyThere.stopped(parcel, found, null, round);
    return null;
  }

  private Finding otherwise(Parcel parcel, Observation standing, Mode mode) {
    List<String> differences =
        Differences.between(resources.observation(parcel.release()), standing);
    return mode == Mode.PUT
        ? DeliveryReason.CHANGED_AT_SERVER.found(
            null,
            "The record holds this result with other content, written by somebody else; it differs"
                + " in "
                + String.join(", ", differences)
                + ".")
        : AlreadyThere.otherContent(differences);
  }
}
