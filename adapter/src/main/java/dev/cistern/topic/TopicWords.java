// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.topic;

import dev.cistern.ledger.LedgerUnavailable;
import org.apache.kafka.common.config.ConfigException;
import org.apache.kafka.common.errors.AuthenticationException;
import org.apache.kafka.common.errors.AuthorizationException;
import org.apache.kafka.common.errors.FencedInstanceIdException;
import org.apache.kafka.common.errors.RecordTooLargeException;
import org.apache.kafka.common.errors.SslAuthenticationException;
import org.apache.kafka.common.errors.UnknownTopicOrPartitionException;

/** What is wrong with a topic, in words of ours: those of the library may quote what was sent. */
final class TopicWords {
  private TopicWords() {}

  static String of(Throwable failure) {
    if (failure instanceof LedgerUnavailable) {
      return "the store cannot be written; the topic waits";
    } else if (failure instanceof TopicReader.Missing
        || failure instanceof UnknownTopicOrPartitionException) {
      return "the topic is not there, or we may not see it; make it, and see to our rights";
    } else if (failure instanceof SslAuthenticationException) {
      return "the broker's certificate or ours is not accepted; compare broker.tls";
    } else if (failure instanceof AuthenticationException) {
      return "the broker does not know us; compare broker.user, password and mechanism";
    } else if (failure instanceof AuthorizationException) {
      return "the broker knows us, and we may not use this topic or group";
    } else if (failure instanceof FencedInstanceIdException) {
      return "another adapter uses this node's name in the same group";
    } else if (failure instanceof RecordTooLargeException) {
      return "the topic takes no record of this size; compare its max.message.bytes";
    } else if (failure instanceof ConfigException) {
      return "no address in broker.servers can be resolved, or a setting cannot be used";
    } else if (failure.getCause() instanceof ConfigException inner) {
      return of(inner);
    } else if (failure.getCause() != null && failure.getCause().getCause() == null) {
      return "no broker answers (" + failure.getCause().getClass().getSimpleName() + ")";
    }
    return "no broker answers (" + failure.getClass().getSimpleName() + ")";
  }
}
