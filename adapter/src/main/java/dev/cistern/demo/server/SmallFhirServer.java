// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.demo.server;

import dev.cistern.scan.CisternException;
import java.net.URI;
import java.time.Clock;
import java.util.Arrays;
import java.util.List;
import org.eclipse.jetty.server.Server;
import org.eclipse.jetty.server.ServerConnector;
import org.eclipse.jetty.util.thread.QueuedThreadPool;
import org.hl7.fhir.r4.model.Resource;

/**
 * A FHIR R4 server for the demo, in memory. It keeps what delivering needs: conditional create,
 * update with If-Match, transactions that are carried out whole or not at all, references that must
 * be there. It lets one request in at a time, so that the same result sent twice, or side by side,
 * is stored once. It is not for patients' data.
 */
public final class SmallFhirServer implements AutoCloseable {
  private final Server jetty;
  private final Requests requests;
  private final URI base;

  private SmallFhirServer(Server jetty, Requests requests, URI base) {
    this.jetty = jetty;
    this.requests = requests;
    this.base = base;
  }

  /**
   * Starts a server that is empty.
   *
   * @param bind the address to listen on: {@code 127.0.0.1}
   * @param port 0 for any that is free
   * @param updateCreate whether PUT under an unknown id creates the resource
   * @throws CisternException where the address cannot be had
   */
  public static SmallFhirServer start(String bind, int port, boolean updateCreate, Clock clock) {
    QueuedThreadPool threads = new QueuedThreadPool(16);
    threads.setName("demo-fhir");
    threads.setDaemon(true);
    Server jetty = new Server(threads);
    ServerConnector connector = new ServerConnector(jetty, 1, 1);
    connector.setHost(bind);
    connector.setPort(port);
    jetty.addConnector(connector);
    try {
      connector.open();
      String host = bind.contains(":") ? "[" + bind + "]" : bind;
      URI base = URI.create("http://" + host + ":" + connector.getLocalPort() + "/fhir");
      Requests requests = new Requests(base.toString(), updateCreate, clock);
      jetty.setHandler(new HttpFront(requests, base.toString()));
      jetty.start();
      return new SmallFhirServer(jetty, requests, base);
    } catch (Exception e) {
      connector.close();
      throw new CisternException(
          "the demo's FHIR server cannot listen on "
              + bind
              + ":"
              + port
              + ": give it another port, or 0 for any that is free",
          e);
    }
  }

  /** Where it is, without a slash at its end. */
  public URI base() {
    return base;
  }

  /**
   * Puts resources there before the demo starts, under their own ids where they have one.
   *
   * @return a reference to each: {@code Patient/elm-1}
   */
  public List<String> seed(Resource... resources) {
    return Arrays.stream(resources).map(requests::seed).toList();
  }

  @Override
  public void close() {
    try {
      jetty.stop();
    } catch (Exception e) {
      throw new CisternException("the demo's FHIR server does not stop: end the process", e);
    }
  }
}
