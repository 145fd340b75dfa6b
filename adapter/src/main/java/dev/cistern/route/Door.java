// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.config.Settings;
import dev.cistern.page.SecurityHeaders;
import dev.cistern.scan.CisternException;
import jakarta.servlet.DispatcherType;
import jakarta.servlet.Filter;
import jakarta.servlet.MultipartConfigElement;
import jakarta.servlet.annotation.MultipartConfig;
import jakarta.servlet.http.HttpServlet;
import java.util.EnumSet;
import java.util.Map;
import org.apache.camel.component.servlet.CamelHttpTransportServlet;
import org.eclipse.jetty.ee10.servlet.FilterHolder;
import org.eclipse.jetty.ee10.servlet.ServletContextHandler;
import org.eclipse.jetty.ee10.servlet.ServletHolder;
import org.eclipse.jetty.http.HttpVersion;
import org.eclipse.jetty.server.HttpConfiguration;
import org.eclipse.jetty.server.HttpConnectionFactory;
import org.eclipse.jetty.server.SecureRequestCustomizer;
import org.eclipse.jetty.server.Server;
import org.eclipse.jetty.server.ServerConnector;
import org.eclipse.jetty.server.SslConnectionFactory;
import org.eclipse.jetty.util.ssl.SslContextFactory;
import org.eclipse.jetty.util.thread.QueuedThreadPool;

/** The HTTP server: form posts go to the Camel routes, everything else to plain servlets. */
final class Door implements AutoCloseable {
  private static final String FORMS = "/forms/*";
  private static final int MOST_THREADS = 64;
  private static final int IDLE_MILLIS = 30_000;

  private final Server server;
  private final ServerConnector connector;

  private Door(Server server, ServerConnector connector) {
    this.server = server;
    this.connector = connector;
  }

  /**
   * Starts to listen.
   *
   * @param filters stand before everything, in their order: path to filter
   * @param servlets what answers beside the routes, by path
   */
  static Door open(
      Settings.Http http, Map<String, Filter> filters, Map<String, HttpServlet> servlets) {
    QueuedThreadPool threads = new QueuedThreadPool(MOST_THREADS, 4);
    threads.setName("http");
    Server server = new Server(threads);
    HttpConfiguration configuration = new HttpConfiguration();
    configuration.setSendServerVersion(false);
    ServerConnector connector = connector(server, http, configuration);
    connector.setHost(http.bind());
    connector.setPort(http.port());
    connector.setIdleTimeout(IDLE_MILLIS);
    server.addConnector(connector);
    ServletContextHandler context = new ServletContextHandler("/");
    ServletHolder camel = new ServletHolder(FormRoutes.SERVLET, new CamelHttpTransportServlet());
    camel.setInitOrder(1);
    context.addServlet(camel, FORMS);
    context.addFilter(
        new FilterHolder(new SecurityHeaders()), "/*", EnumSet.of(DispatcherType.REQUEST));
    filters.forEach(
        (path, filter) ->
            context.addFilter(new FilterHolder(filter), path, EnumSet.of(DispatcherType.REQUEST)));
    context.addFilter(
        new FilterHolder(new KeepBody(http.largestForm())),
        FORMS,
        EnumSet.of(DispatcherType.REQUEST));
    servlets.forEach((path, servlet) -> context.addServlet(holder(servlet), path));
    server.setHandler(context);
    server.setStopTimeout(5_000);
    try {
      server.start();
    } catch (Exception e) {
      letGo(server, e);
      throw new CisternException(cannotListen(http), e);
    }
    return new Door(server, connector);
  }

  private static ServerConnector connector(
      Server server, Settings.Http http, HttpConfiguration configuration) {
    Settings.KeyFile keys = http.tls();
    if (keys == null) {
      return new ServerConnector(server, new HttpConnectionFactory(configuration));
    }
    SslContextFactory.Server tls = new SslContextFactory.Server();
    tls.setKeyStoreType("PKCS12");
    tls.setKeyStorePath(keys.path().toString());
    tls.setKeyStorePassword(keys.password().get());
    tls.setIncludeProtocols("TLSv1.2", "TLSv1.3");
    // People may come by an address, which names no host.
    configuration.addCustomizer(new SecureRequestCustomizer(false));
    return new ServerConnector(
        server,
        new SslConnectionFactory(tls, HttpVersion.HTTP_1_1.asString()),
        new HttpConnectionFactory(configuration));
  }

  /** Its servlets were begun before it listened. */
  private static void letGo(Server server, Exception because) {
    try {
      server.stop();
    } catch (Exception e) {
      because.addSuppressed(e);
    }
  }

  private static String cannotListen(Settings.Http http) {
    Settings.KeyFile keys = http.tls();
    return "Cannot listen on "
        + http.bind()
        + ":"
        + http.port()
        + "; is the port taken? Set http.port to another one, or to 0 for a free one."
        + (keys == null ? "" : " Or " + keys.path() + " does not open: run check.");
  }

  /** A servlet that is built by hand has to be told what it says about itself. */
  private static ServletHolder holder(HttpServlet servlet) {
    ServletHolder holder = new ServletHolder(servlet);
    MultipartConfig parts = servlet.getClass().getAnnotation(MultipartConfig.class);
    if (parts != null) {
      holder.getRegistration().setMultipartConfig(new MultipartConfigElement(parts));
    }
    return holder;
  }

  int port() {
    return connector.getLocalPort();
  }

  @Override
  public void close() {
    try {
      server.stop();
    } catch (Exception e) {
      throw new CisternException("The HTTP server did not stop.", e);
    }
  }
}
