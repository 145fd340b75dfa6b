/** Takes the records of a Kafka topic, and puts into one what a publishing node takes. */
@NullMarked
package dev.cistern.topic;

import org.jspecify.annotations.NullMarked;
