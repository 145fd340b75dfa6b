// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.ledger.LedgerUnavailable;
import dev.cistern.topic.NotPublished;
import org.apache.camel.LoggingLevel;
import org.apache.camel.builder.RouteConfigurationBuilder;

/**
 * What happens when a step fails. Nothing is redelivered here: what was committed is in the ledger,
 * what was not is still with its sender. Messages name kinds of failure, never a file or a value.
 */
final class ErrorPolicy extends RouteConfigurationBuilder {
  static final String FOLDER = "folder-errors";
  static final String FORM = "form-errors";
  static final String MLLP = "mllp-errors";
  static final String WORK = "work-errors";

  @Override
  public void configuration() {
    routeConfiguration(FOLDER)
        .onException(Exception.class)
        .handled(true)
        .log(
            LoggingLevel.WARN,
            "dev.cistern.route",
            "a file of ${routeId} stays where it is: ${exception.class.simpleName}");
    routeConfiguration(FORM)
        .onException(LedgerUnavailable.class, NotPublished.class)
        .handled(true)
        .process(FormPost::unavailable)
        .end()
        .onException(Exception.class)
        .handled(true)
        .log(
            LoggingLevel.ERROR,
            "dev.cistern.route",
            "a form could not be taken: ${exception.class.name}")
        .process(FormPost::broken);
    routeConfiguration(MLLP)
        .onException(Exception.class)
        .handled(true)
        .log(
            LoggingLevel.WARN,
            "dev.cistern.route",
            "a message of ${routeId} was not kept: ${exception.class.simpleName}")
        .process(MllpReceive::notKept);
    routeConfiguration(WORK)
        .onException(Exception.class)
        .handled(true)
        .setProperty(org.apache.camel.Exchange.SCHEDULER_POLLED_MESSAGES, constant(false))
        .log(
            LoggingLevel.ERROR,
            "dev.cistern.route",
            "${routeId} failed and tries again: ${exception.class.name}");
  }
}
