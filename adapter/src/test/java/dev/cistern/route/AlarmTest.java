// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static com.github.tomakehurst.wiremock.client.WireMock.anyUrl;
import static com.github.tomakehurst.wiremock.client.WireMock.post;
import static com.github.tomakehurst.wiremock.client.WireMock.postRequestedFor;
import static com.github.tomakehurst.wiremock.client.WireMock.status;
import static org.assertj.core.api.Assertions.assertThat;
import static org.awaitility.Awaitility.await;

import com.github.tomakehurst.wiremock.WireMockServer;
import com.github.tomakehurst.wiremock.core.WireMockConfiguration;
import dev.cistern.alarm.Alarm;
import dev.cistern.config.Settings;
import dev.cistern.ledger.EntryState;
import dev.cistern.testing.TestClock;
import java.net.URI;
import java.nio.file.Path;
import java.time.Duration;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

class AlarmTest {
  private static final String HEADER =
      "PatNo;Date;Time;Vol;Unit;Kind;LastVoid;Voided;Set;Serial;ExamNo;User\n";

  private final TestClock clock = TestClock.at("2026-03-14T09:00:00Z");
  private final WireMockServer desk =
      new WireMockServer(WireMockConfiguration.options().dynamicPort().bindAddress("127.0.0.1"));

  @SuppressWarnings("NullAway.Init")
  private Site site;

  @SuppressWarnings("NullAway.Init")
  private Alarm alarm;

  @BeforeEach
  void start(@TempDir Path folder) throws Exception {
    desk.start();
    desk.stubFor(post(anyUrl()).willReturn(status(204)));
    site = Site.start(folder);
    alarm =
        new Alarm(
            site.plant.ledger(),
            new Settings.Alarm(
                URI.create(desk.baseUrl() + "/told?key=s3cret"), Duration.ofHours(1)),
            "alder-vale-test",
            () -> 500,
            clock);
  }

  @AfterEach
  void stop() {
    site.close();
    desk.stop();
  }

  private void rejected(String exam, int volume) throws Exception {
    String text =
        HEADER
            + "9990000018;14.03.2026;09:05:00;%d;;PRE;;;F;AV-0012;%s;N4471\n"
                .formatted(volume, exam);
    site.drop("elm-ward-export", exam + ".csv", text);
    await()
        .untilAsserted(
            () ->
                assertThat(site.entries("elm-ward-export", text))
                    .hasSize(1)
                    .allMatch(e -> e.state() == EntryState.REJECTED));
  }

  private int posts() {
    return desk.findAll(postRequestedFor(anyUrl())).size();
  }

  @Test
  void a_low_volume_rings_nowhere_and_a_high_one_once() throws Exception {
    rejected("0001", 120);
    assertThat(alarm.look()).isFalse();
    rejected("0002", 905);
    assertThat(alarm.look()).isTrue();
    assertThat(alarm.look()).isFalse();
    assertThat(posts()).isEqualTo(1);
  }

  @Test
  void another_high_one_and_an_hour_ring_again() throws Exception {
    rejected("0002", 905);
    alarm.look();
    rejected("0003", 700);
    assertThat(alarm.look()).isTrue();
    clock.tick(Duration.ofMinutes(59));
    assertThat(alarm.look()).isFalse();
    clock.tick(Duration.ofMinutes(1));
    assertThat(alarm.look()).isTrue();
  }

  @Test
  void what_could_not_be_told_is_told_the_next_time() throws Exception {
    rejected("0002", 905);
    desk.stubFor(post(anyUrl()).willReturn(status(500)));
    assertThat(alarm.look()).isFalse();
    desk.stubFor(post(anyUrl()).willReturn(status(204)));
    assertThat(alarm.look()).isTrue();
  }

  @Test
  void nothing_of_a_patient_or_of_one_result_is_told() throws Exception {
    rejected("0002", 905);
    alarm.look();
    String body = desk.findAll(postRequestedFor(anyUrl())).get(0).getBodyAsString();
    assertThat(body)
        .contains("\"urgentRejected\":1", "\"alarmVolumeMl\":500")
        .doesNotContain("9990000018", "905", "AV-0012");
  }
}
