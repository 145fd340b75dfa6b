// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.delivery;

import ch.qos.logback.classic.Level;
import ch.qos.logback.classic.Logger;
import ch.qos.logback.classic.LoggerContext;
import ch.qos.logback.classic.spi.ILoggingEvent;
import ch.qos.logback.core.read.ListAppender;
import java.util.stream.Collectors;
import org.slf4j.LoggerFactory;

/** Listens to everything that our own code logs, at any level. */
final class Logged implements AutoCloseable {
  private final Logger logger;
  private final Level before;
  private final ListAppender<ILoggingEvent> lines = new ListAppender<>();

  private Logged(Logger logger) {
    this.logger = logger;
    this.before = logger.getLevel();
  }

  static Logged everything() {
    LoggerContext context = (LoggerContext) LoggerFactory.getILoggerFactory();
    Logged logged = new Logged(context.getLogger("dev.cistern"));
    logged.lines.start();
    logged.logger.setLevel(Level.TRACE);
    logged.logger.addAppender(logged.lines);
    return logged;
  }

  String text() {
    return lines.list.stream()
        .map(
            event ->
                event.getFormattedMessage()
                    + (event.getThrowableProxy() == null
                        ? ""
                        : " " + event.getThrowableProxy().getMessage()))
        .collect(Collectors.joining("\n"));
  }

  @Override
  public void close() {
    logger.detachAppender(lines);
    logger.setLevel(before);
  }
}
