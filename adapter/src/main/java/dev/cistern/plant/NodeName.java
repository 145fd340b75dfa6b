// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.plant;

import dev.cistern.ledger.Duties;
import dev.cistern.scan.CisternException;
import org.slf4j.Logger;
import org.slf4j.LoggerFactory;

/**
 * Each node on a store has a name of its own: by it a node that starts again knows the claims of
 * the run before.
 */
public final class NodeName implements Runnable {
  private static final Logger log = LoggerFactory.getLogger(NodeName.class);

  private final Duties duties;
  private final String node;

  public NodeName(Duties duties, String node) {
    this.duties = duties;
    this.node = node;
  }

  /**
   * Takes the name; waits a while for a node that was just killed to lose it.
   *
   * @throws CisternException where another node has it
   */
  public void take() {
    if (!duties.soon(duty())) {
      throw new CisternException(
          "Another adapter named "
              + node
              + " runs on this store; stop it first, or give this one a name of its own (node).");
    }
  }

  /** Takes the name again where the connection that held it was lost. */
  @Override
  public void run() {
    if (!duties.mine(duty())) {
      log.error("another adapter on this store is named {} too; give each its own name", node);
    }
  }

  private String duty() {
    return "node " + node;
  }
}
