// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.work;

import dev.cistern.check.Checks;
import dev.cistern.check.Policy;
import dev.cistern.check.PolicyFile;
import dev.cistern.delivery.TermsInUse;
import dev.cistern.fhir.CodeBook;
import dev.cistern.ledger.MappingVersions;
import dev.cistern.plant.Plant;
import dev.cistern.scan.CisternException;
import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Instant;
import java.util.List;
import java.util.Optional;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/**
 * Where the policy and the code table are changed: read, brought into use as a new version, brought
 * back. The file stays what counts; the ledger keeps every text that was in use.
 */
public final class SiteDesk {
  private static final Logger log = LoggerFactory.getLogger(SiteDesk.class);

  private final Plant plant;

  public SiteDesk(Plant plant) {
    this.plant = plant;
  }

  /** Where the text is, or would be. */
  public Path file(SiteText which) {
    return switch (which) {
      case POLICY -> plant.settings().policyFile();
      case CODES -> plant.settings().codesFile();
    };
  }

  /** Whether the site has no text of its own. */
  public boolean isShipped(SiteText which) {
    return !Files.exists(file(which));
  }

  /** What the file holds now; where there is none, what is shipped. */
  public String text(SiteText which) {
    Path file = file(which);
    try {
      return isShipped(which) ? shipped(which) : Files.readString(file);
    } catch (IOException e) {
      throw new CisternException(
          "The file " + file + " cannot be read as UTF-8; check its permissions.", e);
    }
  }

  public static String shipped(SiteText which) {
    return switch (which) {
      case POLICY -> PolicyFile.shippedText();
      case CODES -> CodeBook.shippedText();
    };
  }

  /**
   * Reads a policy.
   *
   * @throws CisternException with every problem that it has
   */
  public Policy policy(String text) {
    return Plant.policy(plant.settings(), text);
  }

  /**
   * Reads a code table.
   *
   * @throws CisternException with every problem that it has
   */
  public CodeBook codes(String text) {
    return CodeBook.parse(SiteText.CODES.key(), text);
  }

  /**
   * Makes sure that a text can come into use.
   *
   * @throws CisternException with every problem that it has; for a policy, too, where its name and
   *     version were those of another text: findings could not say by which they were found
   */
  public void require(SiteText which, String text) {
    switch (which) {
      case POLICY -> requireOwnVersion(text);
      case CODES -> codes(text);
    }
  }

  private void requireOwnVersion(String text) {
    Policy policy = policy(text);
    if (isTaken(policy, text)) {
      throw new CisternException(
          policy.title()
              + " was in use before with another text. Raise the version: findings name it.");
    }
  }

  private boolean isTaken(Policy policy, String text) {
    return !text.equals(shipped(SiteText.POLICY))
            && policy.versioned().equals(Policy.shipped().versioned())
        || versions(SiteText.POLICY).stream()
            .filter(kept -> !kept.sha256().equals(MappingDesk.sha(text)))
            .anyMatch(
                kept ->
                    text(SiteText.POLICY, kept.number())
                        .flatMap(this::readable)
                        .filter(other -> other.versioned().equals(policy.versioned()))
                        .isPresent());
  }

  /** Empty for a text that this program cannot read any more. */
  private Optional<Policy> readable(String text) {
    try {
      return Optional.of(policy(text));
    } catch (CisternException e) {
      return Optional.empty();
    }
  }

  /**
   * Brings a text into use: keeps it as a new version, replaces the file, and checks and sends by
   * it what comes from now on.
   *
   * @param before SHA-256 of the text that the person began with
   * @throws CisternException where it has a problem, somebody else changed it meanwhile, or the
   *     file cannot be written
   */
  public void activate(String actor, SiteText which, String text, String before, String why) {
    require(which, text);
    keep(
        actor,
        which,
        "activated",
        text,
        why,
        () -> {
          if (!MappingDesk.sha(text(which)).equals(before)) {
            throw new CisternException(
                "The file was changed by somebody else meanwhile. Load the page again; your text is"
                    + " still in the browser's last page.");
          }
          MappingDesk.replace(file(which), text);
        });
    use(which, text);
  }

  /** Takes a text over that is the latest version already, and makes the file say so. */
  void takeOver(SiteText which, String text) {
    require(which, text);
    MappingDesk.replace(file(which), text);
    use(which, text);
  }

  /** Keeps what a file says, and checks and sends by it. */
  void takeIn(String actor, SiteText which, String text, String why) {
    require(which, text);
    keep(actor, which, "read", text, why, () -> {});
    use(which, text);
  }

  private void keep(
      String actor,
      SiteText which,
      String event,
      String text,
      String why,
      MappingVersions.Putting putting) {
    plant
        .ledger()
        .mappingVersions()
        .add(actor, which.word() + "-" + event, which.key(), text, why, putting);
  }

  private void use(SiteText which, String text) {
    TermsInUse terms = plant.postbox().terms();
    switch (which) {
      case POLICY -> {
        Policy policy = policy(text);
        terms.use(policy.versioned(), Plant.interpretation(policy));
        plant.refinery().use(Checks.under(policy));
      }
      case CODES ->
          terms.use(
              versions(which).stream()
                  .findFirst()
                  .map(MappingVersions.Version::at)
                  .orElse(Instant.EPOCH),
              codes(text));
    }
  }

  /**
   * At the start: recalls the tables of earlier versions, and keeps what the files say where that
   * is not what was in use last.
   */
  public void noteFiles(String actor) {
    recall();
    for (SiteText which : SiteText.values()) {
      List<MappingVersions.Version> kept = versions(which);
      String text = text(which);
      if (isShipped(which) && kept.isEmpty()) {
        continue;
      }
      if (isBehind(which, kept, text)) {
        log.warn("{} is older than what the other nodes use, which is taken over", file(which));
        takeOver(which, text(which, kept.get(0).number()).orElseThrow());
        continue;
      }
      if (which == SiteText.POLICY && isTaken(policy(text), text)) {
        log.warn("{} was in use before with another text; raise the version", policy(text).title());
      }
      keep(actor, which, "read", text, "as the file says at the start", () -> {});
      use(which, text);
    }
  }

  /**
   * On a store that nodes share, a file that is missing or says what was in use earlier missed what
   * somebody did on another node. Alone, it is what somebody put back.
   */
  private boolean isBehind(SiteText which, List<MappingVersions.Version> kept, String text) {
    String sha = MappingDesk.sha(text);
    return plant.settings().store() != null
        && !kept.isEmpty()
        && !kept.get(0).sha256().equals(sha)
        && (isShipped(which) || kept.stream().anyMatch(each -> each.sha256().equals(sha)));
  }

  /** What was checked or sent under an earlier version is still read by that. */
  private void recall() {
    TermsInUse terms = plant.postbox().terms();
    terms.know(Policy.shipped().versioned(), Plant.interpretation(Policy.shipped()));
    for (MappingVersions.Version each : versions(SiteText.POLICY)) {
      text(SiteText.POLICY, each.number())
          .flatMap(this::readable)
          .ifPresent(p -> terms.know(p.versioned(), Plant.interpretation(p)));
    }
    List<MappingVersions.Version> kept = versions(SiteText.CODES);
    if (!kept.isEmpty()) {
      terms.use(Instant.EPOCH, CodeBook.shipped());
    }
    for (MappingVersions.Version each : kept) {
      text(SiteText.CODES, each.number()).ifPresent(text -> recall(terms, each.at(), text));
    }
  }

  private void recall(TermsInUse terms, Instant since, String text) {
    try {
      terms.use(since, codes(text));
    } catch (CisternException e) {
      log.warn("a code table that was in use since {} cannot be read any more", since);
    }
  }

  public List<MappingVersions.Version> versions(SiteText which) {
    return plant.ledger().mappingVersions().of(which.key());
  }

  public Optional<String> text(SiteText which, int number) {
    return plant.ledger().mappingVersions().text(which.key(), number);
  }
}
