// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.testing;

import ch.qos.logback.classic.spi.ILoggingEvent;
import ch.qos.logback.classic.spi.ThrowableProxyUtil;
import ch.qos.logback.core.AppenderBase;
import java.util.Queue;
import java.util.concurrent.ConcurrentLinkedQueue;

/** Keeps everything that a log line can say: its logger, thread, words, context and exceptions. */
public final class KeptLog extends AppenderBase<ILoggingEvent> {
  private final Queue<String> lines = new ConcurrentLinkedQueue<>();

  public Queue<String> lines() {
    return lines;
  }

  @Override
  protected void append(ILoggingEvent event) {
    lines.add(
        event.getLoggerName()
            + " "
            + event.getThreadName()
            + " "
            + event.getFormattedMessage()
            + event.getMDCPropertyMap()
            + (event.getThrowableProxy() == null
                ? ""
                : ThrowableProxyUtil.asString(event.getThrowableProxy())));
  }
}
