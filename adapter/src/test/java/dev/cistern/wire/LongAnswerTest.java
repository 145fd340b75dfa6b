// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.wire;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.InstanceOfAssertFactories.type;

import com.github.tomakehurst.wiremock.WireMockServer;
import com.github.tomakehurst.wiremock.client.WireMock;
import com.github.tomakehurst.wiremock.core.WireMockConfiguration;
import dev.cistern.config.Settings;
import dev.cistern.testing.FaultyFhirServer;
import dev.cistern.testing.FaultyFhirServer.Fault;
import dev.cistern.testing.PlainFhir;
import java.net.URI;
import java.time.Clock;
import java.time.Duration;
import org.junit.jupiter.api.Test;

/** Answers that are too long, in bytes or in time, are not read to their end. */
class LongAnswerTest {
  private static final int MOST = 65_536;

  private static Answer answerOf(String body, Fault fault, Duration timeout) {
    WireMockServer target =
        new WireMockServer(WireMockConfiguration.options().dynamicPort().bindAddress("127.0.0.1"));
    target.start();
    try (FaultyFhirServer server =
        FaultyFhirServer.before(URI.create(target.baseUrl() + "/fhir"), () -> fault)) {
      target.stubFor(WireMock.any(WireMock.anyUrl()).willReturn(WireMock.ok(body)));
      Settings.Fhir plain = PlainFhir.at(server.base());
      FhirHttp http =
          new FhirHttp(
              new Settings.Fhir(
                  plain.base(),
                  plain.mode(),
                  plain.bundle(),
                  plain.workers(),
                  timeout,
                  MOST,
                  plain.system(),
                  plain.snomed(),
                  plain.derived(),
                  plain.auth(),
                  plain.tls()),
              Clock.systemUTC());
      return http.post("", FhirHttp.FHIR_JSON, "{}");
    } finally {
      target.stop();
    }
  }

  @Test
  void an_answer_without_an_end_is_cut_off_at_the_limit() {
    assertThat(answerOf("", Fault.FLOOD_AFTER, Duration.ofMinutes(1)))
        .asInstanceOf(type(Answer.Unknown.class))
        .extracting(Answer.Unknown::why)
        .isEqualTo("the answer is longer than 65536 bytes (fhir.largestAnswer)");
  }

  @Test
  void an_answer_that_says_how_long_it_is_is_cut_off_too() {
    assertThat(answerOf("x".repeat(MOST + 1), Fault.NONE, Duration.ofMinutes(1)))
        .isInstanceOf(Answer.Unknown.class);
    assertThat(answerOf("x".repeat(MOST), Fault.NONE, Duration.ofMinutes(1)))
        .asInstanceOf(type(Answer.Answered.class))
        .extracting(answer -> answer.body().length())
        .isEqualTo(MOST);
  }

  @Test
  void an_answer_that_drips_for_ever_ends_with_the_time() {
    assertThat(answerOf("", Fault.DRIP_AFTER, Duration.ofSeconds(1)))
        .isEqualTo(new Answer.Unknown("no answer in time"));
  }
}
