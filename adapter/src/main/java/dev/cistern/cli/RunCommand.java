// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.cli;

import dev.cistern.plant.Plant;
import dev.cistern.route.Adapter;
import dev.cistern.scan.CisternException;
import java.util.List;
import java.util.concurrent.CountDownLatch;
import picocli.CommandLine.Command;

@Command(
    name = "run",
    description = "Runs the adapter until it is told to stop (Ctrl-C, SIGTERM).",
    footer = {"", "Example:  cistern run --config /etc/cistern/cistern.yaml"})
final class RunCommand extends OnLedger {

  @Override
  public Integer call() throws InterruptedException {
    String format = System.getenv("CISTERN_LOG_FORMAT");
    if (format != null && !List.of("text", "json").contains(format)) {
      throw new CisternException(
          "CISTERN_LOG_FORMAT is \"" + format + "\"; it must be text or json.");
    }
    CountDownLatch stop = new CountDownLatch(1);
    CountDownLatch stopped = new CountDownLatch(1);
    try (Plant plant = open();
        Adapter adapter = Adapter.start(plant)) {
      Thread hook =
          new Thread(
              () -> {
                stop.countDown();
                try {
                  stopped.await();
                } catch (InterruptedException e) {
                  Thread.currentThread().interrupt();
                }
              },
              "stop");
      Runtime.getRuntime().addShutdownHook(hook);
      err().println("Ready at " + adapter.address() + "/health/ready");
      stop.await();
      err().println("Stopping: what is under way is finished first.");
    } finally {
      stopped.countDown();
    }
    return Exit.DONE;
  }
}
