// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import org.apache.camel.Consumer;
import org.apache.camel.Endpoint;
import org.apache.camel.spi.PollingConsumerPollStrategy;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/** A folder that cannot be looked into is said once, not at every look. */
final class QuietPolling implements PollingConsumerPollStrategy {
  private static final Logger log = LoggerFactory.getLogger(QuietPolling.class);
  private final java.util.Set<String> failing = java.util.concurrent.ConcurrentHashMap.newKeySet();

  @Override
  public boolean begin(Consumer consumer, Endpoint endpoint) {
    return true;
  }

  @Override
  public void commit(Consumer consumer, Endpoint endpoint, int polledMessages) {
    if (failing.remove(endpoint.getEndpointKey())) {
      log.info("a source's folder can be read again");
    }
  }

  @Override
  public boolean rollback(Consumer consumer, Endpoint endpoint, int retryCounter, Exception cause) {
    if (failing.add(endpoint.getEndpointKey())) {
      log.error("a source's folder cannot be read: {}", cause.getClass().getSimpleName());
    }
    return false;
  }
}
