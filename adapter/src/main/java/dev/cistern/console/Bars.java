// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console;

import dev.cistern.ledger.EntryState;
import dev.cistern.ledger.Flow;
import java.util.ArrayList;
import java.util.List;

/**
 * How many results came in each slot of time, and what became of them, as bars on a common scale.
 *
 * @param bars one a slot, the oldest first
 * @param most the highest bar of all charts that are compared
 * @param words the same for those who do not see it
 */
public record Bars(List<Bar> bars, long most, String words) {
  public static final int WIDTH = 10;
  public static final int HEIGHT = 44;

  public Bars {
    bars = List.copyOf(bars);
  }

  /** One slot's counts. */
  public record Bar(long delivered, long held, long other) {
    public long total() {
      return delivered + held + other;
    }

    private Bar plus(EntryState state, long count) {
      return switch (state) {
        case DELIVERED -> new Bar(delivered + count, held, other);
        case REJECTED -> new Bar(delivered, held + count, other);
        default -> new Bar(delivered, held, other + count);
      };
    }
  }

  /** A rectangle of the picture, in its own units. */
  public record Box(String kind, int x, double y, double height) {}

  static List<Bar> of(List<Flow.Slot> slots, int count) {
    List<Bar> bars = new ArrayList<>();
    for (int i = 0; i < count; i++) {
      bars.add(new Bar(0, 0, 0));
    }
    for (Flow.Slot slot : slots) {
      int at = Math.min(slot.slot(), count - 1);
      bars.set(at, bars.get(at).plus(slot.state(), slot.entries()));
    }
    return bars;
  }

  public int width() {
    return bars.size() * WIDTH;
  }

  /** Delivered at the bottom, what is held on top of it, where it is seen first. */
  public List<Box> boxes() {
    List<Box> boxes = new ArrayList<>();
    for (int i = 0; i < bars.size(); i++) {
      Bar bar = bars.get(i);
      double top = HEIGHT;
      top = box(boxes, "delivered", i, top, bar.delivered());
      top = box(boxes, "other", i, top, bar.other());
      box(boxes, "held", i, top, bar.held());
    }
    return boxes;
  }

  private double box(List<Box> boxes, String kind, int slot, double bottom, long count) {
    if (count == 0) {
      return bottom;
    }
    // Even one of thousands is seen.
    double height = Math.max(1.5, (HEIGHT - 4.0) * count / most);
    boxes.add(new Box(kind, slot * WIDTH + 1, round(bottom - height), round(height)));
    return bottom - height;
  }

  private static double round(double value) {
    return Math.round(value * 10) / 10.0;
  }
}
