// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.config;

import dev.cistern.scan.CisternException;
import java.io.IOException;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.List;
import java.util.Objects;
import java.util.regex.Matcher;
import java.util.regex.Pattern;
import java.util.stream.Stream;
import org.jspecify.annotations.Nullable;

/** The files that hold secrets, but for those of {@code fhir}, whose own check looks at them. */
public final class SecretFiles {
  private static final Pattern FILE = Pattern.compile("\\$\\{file:([^}]+)}");

  private SecretFiles() {}

  public static Stream<Path> of(Settings settings) {
    List<@Nullable Path> files = new ArrayList<>(written(settings.file()));
    Settings.KeyFile http = settings.http().tls();
    files.add(http == null ? null : http.path());
    for (Settings.Source source : settings.sources()) {
      if (source instanceof Settings.Mllp mllp) {
        Settings.ListenerTls tls = mllp.tls();
        files.add(tls == null ? null : tls.keystore().path());
      } else if (source instanceof Settings.Sftp sftp) {
        Settings.KeyFile key = sftp.server().key();
        files.add(key == null ? null : key.path());
      } else if (source instanceof Settings.Kafka kafka) {
        files.add(keystore(kafka.topic()));
      }
    }
    files.add(keystore(settings.publish()));
    return files.stream().flatMap(Stream::ofNullable);
  }

  private static @Nullable Path keystore(Settings.@Nullable Topic topic) {
    Settings.TopicTls tls = topic == null ? null : topic.tls();
    Settings.Store keystore = tls == null ? null : tls.keystore();
    return keystore == null ? null : keystore.file();
  }

  /** What {@code ${file:…}} names. */
  private static List<Path> written(Path settings) {
    Path folder = Objects.requireNonNull(settings.getParent());
    List<Path> files = new ArrayList<>();
    try {
      for (String line : Files.readAllLines(settings)) {
        Matcher places = FILE.matcher(line.strip().startsWith("#") ? "" : line);
        while (places.find()) {
          files.add(folder.resolve(places.group(1)).normalize());
        }
      }
    } catch (IOException e) {
      throw new CisternException(settings + " cannot be read a second time.", e);
    }
    return files;
  }
}
