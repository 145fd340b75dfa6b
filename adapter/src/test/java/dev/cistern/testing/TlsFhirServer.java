// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.testing;

import java.net.URI;
import java.nio.file.Path;
import java.security.cert.X509Certificate;
import java.util.List;
import java.util.concurrent.CopyOnWriteArrayList;
import org.eclipse.jetty.io.Content;
import org.eclipse.jetty.io.EndPoint;
import org.eclipse.jetty.server.Handler;
import org.eclipse.jetty.server.HttpConfiguration;
import org.eclipse.jetty.server.HttpConnectionFactory;
import org.eclipse.jetty.server.Request;
import org.eclipse.jetty.server.Response;
import org.eclipse.jetty.server.SecureRequestCustomizer;
import org.eclipse.jetty.server.Server;
import org.eclipse.jetty.server.ServerConnector;
import org.eclipse.jetty.util.Callback;
import org.eclipse.jetty.util.ssl.SslContextFactory;
import org.jspecify.annotations.Nullable;

/** Answers everything with an empty JSON object, over TLS, and remembers who asked. */
public final class TlsFhirServer implements AutoCloseable {
  private static final String PASSWORD = "server";

  private final Server server = new Server();
  private final ServerConnector connector;
  private final List<String> callers = new CopyOnWriteArrayList<>();

  /**
   * Opens a port.
   *
   * @param clients whose certificates callers have to show; null where they show none
   */
  public TlsFhirServer(Authority.Identity identity, @Nullable Authority clients, Path folder) {
    SslContextFactory.Server tls = new SslContextFactory.Server();
    tls.setKeyStorePath(identity.keystore(folder.resolve("server.p12"), PASSWORD).toString());
    tls.setKeyStorePassword(PASSWORD);
    if (clients != null) {
      Path trusted = clients.truststore(folder.resolve("clients.p12"), PASSWORD);
      tls.setTrustStorePath(trusted.toString());
      tls.setTrustStorePassword(PASSWORD);
      tls.setNeedClientAuth(true);
    }
    HttpConfiguration http = new HttpConfiguration();
    http.addCustomizer(new SecureRequestCustomizer(false));
    connector = new ServerConnector(server, tls, new HttpConnectionFactory(http));
    connector.setHost("127.0.0.1");
    server.addConnector(connector);
    server.setHandler(
        new Handler.Abstract() {
          @Override
          public boolean handle(Request request, Response response, Callback callback) {
            callers.add(caller(request));
            Content.Sink.write(response, true, "{}", callback);
            return true;
          }
        });
    try {
      server.start();
    } catch (Exception e) {
      throw new IllegalStateException(e);
    }
  }

  private static String caller(Request request) {
    Object session = request.getAttribute(EndPoint.SslSessionData.ATTRIBUTE);
    X509Certificate[] shown =
        session instanceof EndPoint.SslSessionData data ? data.peerCertificates() : null;
    return shown == null || shown.length == 0
        ? "anybody"
        : shown[0].getSubjectX500Principal().getName();
  }

  public URI base() {
    return URI.create("https://127.0.0.1:" + connector.getLocalPort() + "/fhir");
  }

  /** The names in the certificates of those whose requests arrived, in their order. */
  public List<String> callers() {
    return List.copyOf(callers);
  }

  @Override
  public void close() {
    try {
      server.stop();
    } catch (Exception e) {
      throw new IllegalStateException(e);
    }
  }
}
