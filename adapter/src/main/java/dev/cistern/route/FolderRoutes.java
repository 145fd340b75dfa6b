// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.config.Settings;
import java.util.List;
import org.apache.camel.builder.RouteBuilder;

/**
 * Files that arrive in folders. A file is taken when it has settled, committed to the ledger, and
 * only then moved away: a crash in between reads it again, and the ledger knows its entries.
 */
final class FolderRoutes extends RouteBuilder {
  static final String TEMPLATE = "folder-source";

  private final List<FolderSource> sources;

  FolderRoutes(List<FolderSource> sources) {
    this.sources = sources;
  }

  @Override
  public void configure() {
    routeTemplate(TEMPLATE)
        .templateParameter("name")
        .templateParameter("address")
        .from("file:{{address}}")
        .routeConfigurationId(ErrorPolicy.FOLDER)
        .bean("{{name}}", "receive")
        .id("{{name}}-receive")
        .bean("{{name}}", "moveAway")
        .id("{{name}}-move-away");

    for (FolderSource source : sources) {
      Settings.Folder folder = source.settings();
      getContext().getRegistry().bind(bean(folder), source);
      getContext().getRegistry().bind(bean(folder) + "-settled", source.settled());
      templatedRoute(TEMPLATE)
          .routeId("intake-" + folder.name())
          .parameter("name", bean(folder))
          .parameter("address", address(folder));
    }
  }

  private static String bean(Settings.Folder folder) {
    return "folder-" + folder.name();
  }

  /** No read lock of Camel's: the filter takes only files that have settled, without waiting. */
  private static String address(Settings.Folder folder) {
    return folder.path()
        + "?noop=true&idempotent=false&readLock=none&autoCreate=true&sendEmptyMessageWhenIdle=false"
        + "&sortBy=file:modified;file:name&maxMessagesPerPoll=200&exclude=^\\..*"
        + "&initialDelay=0&delay="
        + folder.poll().toMillis()
        + "&recursive="
        + folder.recursive()
        + "&filter=#"
        + bean(folder)
        + "-settled&pollStrategy=#quiet-polling";
  }
}
