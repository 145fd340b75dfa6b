// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import static org.assertj.core.api.Assertions.assertThat;

import ch.qos.logback.classic.LoggerContext;
import ch.qos.logback.classic.joran.JoranConfigurator;
import ch.qos.logback.classic.util.LogbackMDCAdapter;
import ch.qos.logback.core.status.Status;
import com.fasterxml.jackson.databind.JsonNode;
import dev.cistern.json.Json;
import java.io.ByteArrayOutputStream;
import java.io.PrintStream;
import java.nio.charset.StandardCharsets;
import java.nio.file.Path;
import java.util.List;
import org.junit.jupiter.api.Test;

/** What the shipped configuration of logs writes in either form. */
class LogFormatTest {
  private static List<String> logged(String format) throws Exception {
    PrintStream err = System.err;
    ByteArrayOutputStream written = new ByteArrayOutputStream();
    LoggerContext context = new LoggerContext();
    context.setMDCAdapter(new LogbackMDCAdapter());
    try (PrintStream there = new PrintStream(written, true, StandardCharsets.UTF_8)) {
      System.setErr(there);
      context.putProperty("CISTERN_LOG_FORMAT", format);
      JoranConfigurator configurator = new JoranConfigurator();
      configurator.setContext(context);
      configurator.doConfigure(Path.of("src/main/resources/logback.xml").toFile());
      // Logback writes warnings about its configuration to standard output, which is for data.
      assertThat(context.getStatusManager().getCopyOfStatusList())
          .extracting(Status::getLevel)
          .containsOnly(Status.INFO);
      context
          .getLogger("dev.cistern.rejected")
          .warn("entry {} is rejected: {}", 17, "code-unmapped", new IllegalStateException("why"));
      context.getLogger("ca.uhn.hl7v2.parser").error("a whole message");
      context.getLogger("dev.cistern.rejected").debug("not at this level");
    } finally {
      System.setErr(err);
      context.stop();
    }
    return written.toString(StandardCharsets.UTF_8).lines().toList();
  }

  @Test
  void as_text_an_event_begins_a_line() throws Exception {
    List<String> lines = logged("text");
    assertThat(lines.get(0))
        .matches("\\S+ WARN  \\[.*] dev.cistern.rejected - entry 17 is rejected: code-unmapped");
    assertThat(lines).noneMatch(line -> line.contains("a whole message"));
  }

  @Test
  void as_json_each_event_is_one_line_with_its_words_and_no_arguments() throws Exception {
    List<String> lines = logged("json");
    assertThat(lines).hasSize(1);
    JsonNode event = Json.tree(lines.get(0));
    assertThat(event.path("level").asText()).isEqualTo("WARN");
    assertThat(event.path("formattedMessage").asText())
        .isEqualTo("entry 17 is rejected: code-unmapped");
    assertThat(event.path("loggerName").asText()).isEqualTo("dev.cistern.rejected");
    assertThat(event.path("timestamp").asLong()).isPositive();
    assertThat(event.at("/throwable/className").asText()).contains("IllegalStateException");
    assertThat(event.has("arguments")).isFalse();
  }
}
