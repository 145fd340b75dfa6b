// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.demo;

import dev.cistern.scan.CisternException;
import java.io.IOException;
import java.net.URI;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.StandardCopyOption;
import java.util.List;

/**
 * The folder of the demo: settings, mappings, inboxes and the ledger, as a site would have them.
 */
record DemoSite(Path folder) {

  /** The sources of the samples that are files; every other one is a form. */
  static final List<String> FOLDERS =
      List.of("elm-ward-export", "hazel-json", "birch-xml", "rowan-oru");

  static final String FORM = "bedside-form";

  Path settings() {
    return folder.resolve("cistern.yaml");
  }

  static DemoSite make(Path folder, URI server) {
    DemoSite site = new DemoSite(folder);
    try {
      Files.createDirectories(folder);
      if (Files.exists(site.settings())) {
        throw new CisternException(
            folder + " holds an earlier demo; name another folder, or remove it.");
      }
      ShippedFiles.copy("mappings", folder.resolve("mappings"));
      Files.writeString(site.settings(), text(server));
    } catch (IOException e) {
      throw new CisternException("The folder " + folder + " cannot be written.", e);
    }
    return site;
  }

  private static String text(URI server) {
    StringBuilder text =
        new StringBuilder(
            """
            # Written by the demo. Its meaning is explained by: cistern init FOLDER
            node: alder-vale-demo
            data: ./data
            mappings: ./mappings
            http: { bind: 127.0.0.1, port: 0 }
            fhir:
              base: %s
            patient: { system: "urn:oid:2.999.1.1", reference: lookup, checkDigit: nhs }
            sources:
              - { name: %s, kind: form, mapping: %s }
            """
                .formatted(server, FORM, FORM));
    for (String source : FOLDERS) {
      text.append(
          "  - { name: %s, kind: folder, path: ./inbox/%s, settleSeconds: 0, mapping: %s }\n"
              .formatted(source, source, source));
    }
    return text.toString();
  }

  /** Puts a file into a source's folder as a careful sender does: whole, by renaming. */
  void drop(SampleCase sample) {
    Path inbox = folder.resolve("inbox").resolve(sample.source());
    String name = sample.fileName().replaceFirst("^input", sample.name());
    try {
      Files.createDirectories(inbox);
      Path writing = Files.write(inbox.resolve("." + name), sample.input());
      Files.move(writing, inbox.resolve(name), StandardCopyOption.ATOMIC_MOVE);
    } catch (IOException e) {
      throw new CisternException("The sample " + sample + " cannot be dropped.", e);
    }
  }
}
