// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.intake.Polled;
import dev.cistern.intake.Trouble;
import dev.cistern.plant.NodeName;
import dev.cistern.ship.HeadShipper;
import dev.cistern.work.MappingReload;
import dev.cistern.work.SiteReload;
import java.util.Map;
import java.util.TreeMap;

/** What works beside refining and delivery, and whose troubles health and numbers show. */
record Beside(
    HeadShipper heads,
    SftpRoutes sftp,
    KafkaRoutes topics,
    Takers takers,
    MappingReload reload,
    SiteReload site,
    NodeName name) {

  /** Why changed files are not in use, by mapping or by the name of the file. */
  Map<String, MappingReload.Trouble> notUsed() {
    Map<String, MappingReload.Trouble> all = new TreeMap<>(reload.troubles());
    all.putAll(site.troubles());
    return all;
  }

  /** What keeps sources from being read, by source. */
  Map<String, Trouble> notRead() {
    Map<String, Trouble> all = Polled.troubles(sftp.sources());
    all.putAll(Polled.troubles(topics.sources()));
    return all;
  }
}
