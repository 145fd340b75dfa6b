// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;
import static org.assertj.core.api.Assertions.assertThatThrownBy;

import dev.cistern.config.Settings;
import dev.cistern.scan.CisternException;
import jakarta.servlet.http.HttpServlet;
import jakarta.servlet.http.HttpServletRequest;
import jakarta.servlet.http.HttpServletResponse;
import java.io.IOException;
import java.net.URI;
import java.net.http.HttpClient;
import java.net.http.HttpRequest;
import java.net.http.HttpResponse;
import java.nio.file.Files;
import java.nio.file.Path;
import java.time.Duration;
import java.util.List;
import java.util.Map;
import javax.net.ssl.SSLContext;
import javax.net.ssl.SSLParameters;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** The HTTP server's own TLS. */
class DoorTest {
  @TempDir Path folder;

  /** Says whether it was reached over TLS. */
  private static final class Tells extends HttpServlet {
    private static final long serialVersionUID = 1L;

    @Override
    protected void doGet(HttpServletRequest request, HttpServletResponse response)
        throws IOException {
      response.getWriter().write(String.valueOf(request.isSecure()));
    }
  }

  private static Settings.Http http(Path keys) {
    return new Settings.Http(
        "127.0.0.1", 0, 4096, new Settings.KeyFile(keys, () -> KeyFiles.PASSWORD));
  }

  private static HttpResponse<String> get(URI address, SSLContext context, String protocol)
      throws Exception {
    HttpClient client =
        HttpClient.newBuilder()
            .version(HttpClient.Version.HTTP_1_1)
            .sslContext(context)
            .sslParameters(new SSLParameters(null, new String[] {protocol}))
            .build();
    return client.send(
        HttpRequest.newBuilder(address).timeout(Duration.ofSeconds(10)).build(),
        HttpResponse.BodyHandlers.ofString());
  }

  @Test
  void with_a_certificate_only_tls_of_today_is_spoken() throws Exception {
    Path keys = KeyFiles.selfSigned(folder, "door");
    SSLContext trusting = KeyFiles.client(keys, KeyFiles.trusting(folder, "friends", keys));
    try (Door door = Door.open(http(keys), Map.of(), Map.of("/hello", new Tells()))) {
      URI address = URI.create("https://127.0.0.1:" + door.port() + "/hello");
      for (String protocol : List.of("TLSv1.2", "TLSv1.3")) {
        HttpResponse<String> answer = get(address, trusting, protocol);
        assertThat(answer.body()).isEqualTo("true");
        assertThat(answer.sslSession().orElseThrow().getProtocol()).isEqualTo(protocol);
      }
      assertThatThrownBy(() -> get(address, SSLContext.getDefault(), "TLSv1.3"))
          .isInstanceOf(IOException.class);
      URI plain = URI.create("http://127.0.0.1:" + door.port() + "/hello");
      assertThatThrownBy(() -> get(plain, trusting, "TLSv1.3")).isInstanceOf(IOException.class);
    }
  }

  @Test
  void a_certificate_that_cannot_be_read_stops_the_start_with_its_file() throws Exception {
    Path broken = Files.writeString(folder.resolve("broken.p12"), "no keys");
    assertThatThrownBy(() -> Door.open(http(broken), Map.of(), Map.of()))
        .isInstanceOf(CisternException.class)
        .hasMessageContaining("broken.p12");
  }
}
