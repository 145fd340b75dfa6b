// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.work;

import dev.cistern.ledger.MappingVersions;
import dev.cistern.plant.Plant;
import dev.cistern.scan.CisternException;
import java.time.Instant;
import java.util.EnumMap;
import java.util.Map;
import java.util.TreeMap;
import org.jspecify.annotations.Nullable;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/**
 * Looks whether somebody changed the file of the policy or of the code table, and whether another
 * node on the same store brought a text into use. A file is taken when two looks found the same;
 * one that has a problem is said, and what was in use stays.
 */
public final class SiteReload implements Runnable {
  private static final Logger log = LoggerFactory.getLogger(SiteReload.class);

  private final Plant plant;
  private final SiteDesk desk;
  private final String actor;
  private final Map<SiteText, String> inUse = new EnumMap<>(SiteText.class);
  private final Map<SiteText, String> lastLook = new EnumMap<>(SiteText.class);
  private final Map<SiteText, MappingReload.Trouble> troubles = new EnumMap<>(SiteText.class);

  public SiteReload(Plant plant, SiteDesk desk, String actor) {
    this.plant = plant;
    this.desk = desk;
    this.actor = actor;
    for (SiteText which : SiteText.values()) {
      inUse.put(which, MappingDesk.sha(desk.text(which)));
    }
  }

  /** Why changed files are not in use, by the name of the file; without those that are. */
  public synchronized Map<String, MappingReload.Trouble> troubles() {
    Map<String, MappingReload.Trouble> all = new TreeMap<>();
    troubles.forEach((which, trouble) -> all.put(which.key(), trouble));
    return all;
  }

  @Override
  public synchronized void run() {
    for (SiteText which : SiteText.values()) {
      look(which);
    }
  }

  private void look(SiteText which) {
    String sha = null;
    try {
      String text = desk.text(which);
      sha = MappingDesk.sha(text);
      MappingVersions.Version latest = desk.versions(which).stream().findFirst().orElse(null);
      boolean changed = !sha.equals(inUse.get(which));
      if (changed && desk.isShipped(which)) {
        throw new CisternException("there is no file any more");
      }
      if (changed && latest != null && latest.sha256().equals(sha)) {
        // The console brought it into use, here or on a node that shares the file.
        desk.takeIn(actor, which, text, latest.why());
        well(which);
      } else if (!changed) {
        well(which);
        if (latest != null && plant.settings().store() != null && !latest.sha256().equals(sha)) {
          sha = takeOver(which, latest);
        }
      } else if (sha.equals(lastLook.get(which))) {
        desk.takeIn(actor, which, text, "the file was changed");
        log.info("the file {} was changed and is in use", which.key());
        well(which);
      } else {
        lastLook.put(which, sha);
        return;
      }
      inUse.put(which, sha);
    } catch (CisternException e) {
      ill(which, sha, e);
    }
    lastLook.put(which, String.valueOf(sha));
  }

  private String takeOver(SiteText which, MappingVersions.Version latest) {
    desk.takeOver(which, desk.text(which, latest.number()).orElseThrow());
    log.info(
        "version {} of {}, which another node brought into use, is in use",
        latest.number(),
        which.key());
    return latest.sha256();
  }

  private void well(SiteText which) {
    if (troubles.remove(which) != null) {
      log.info("the file {} is again what is in use", which.key());
    }
  }

  /** Said once for each text. */
  private void ill(SiteText which, @Nullable String sha, CisternException e) {
    MappingReload.Trouble before = troubles.get(which);
    String why = String.valueOf(e.getMessage()).lines().findFirst().orElse("");
    if (before == null || !String.valueOf(before.text()).equals(String.valueOf(sha))) {
      log.error("the changed file {} is not used, what was before stays: {}", which.key(), why);
      Instant now = plant.clock().instant();
      troubles.put(which, new MappingReload.Trouble(now, sha, why));
    }
  }
}
