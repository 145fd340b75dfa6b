// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import dev.cistern.scan.CisternException;
import java.io.IOException;
import java.io.InputStream;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.List;
import picocli.CommandLine.Command;
import picocli.CommandLine.Parameters;

@Command(
    name = "init",
    description = {
      "Writes commented settings and example mappings into a folder, to start from.",
      "Never overwrites anything."
    },
    footer = {"", "Example:  cistern init my-site"})
final class InitCommand extends WithHelp {
  private static final List<String> MAPPINGS =
      List.of("elm-ward-export", "hazel-json", "birch-xml", "rowan-oru", "bedside-form");

  @Parameters(paramLabel = "FOLDER", description = "Where to write them.")
  private Path folder = Path.of("");

  @Override
  public Integer call() throws IOException {
    Files.createDirectories(folder.resolve("mappings"));
    copy("/config/cistern.yaml", folder.resolve("cistern.yaml"));
    for (String mapping : MAPPINGS) {
      String name = mapping + ".yaml";
      copy("/mappings/" + name, folder.resolve("mappings").resolve(name));
    }
    err().println("Next: edit " + folder.resolve("cistern.yaml") + ", then check --config on it.");
    return Exit.DONE;
  }

  private void copy(String resource, Path to) throws IOException {
    if (Files.exists(to)) {
      throw new CisternException(to + " exists already; choose another folder, or move it away.");
    }
    try (InputStream in = InitCommand.class.getResourceAsStream(resource)) {
      if (in == null) {
        throw new IllegalStateException("the jar lacks " + resource);
      }
      Files.copy(in, to);
    }
    out().println(to);
  }
}
