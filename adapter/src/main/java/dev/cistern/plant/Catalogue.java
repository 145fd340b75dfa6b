// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.plant;

import dev.cistern.check.Checks;
import dev.cistern.check.PolicyFile;
import dev.cistern.delivery.DeliveryReason;
import dev.cistern.mapping.DecodeReason;
import dev.cistern.normalise.NormaliseReason;
import dev.cistern.refine.RefineReason;
import dev.cistern.scan.Reason;
import dev.cistern.scan.SequenceReason;
import java.util.Arrays;
import java.util.LinkedHashMap;
import java.util.List;
import java.util.Map;

/** Every reason that any stage can give, stage by stage. */
public final class Catalogue {
  private Catalogue() {}

  public static Map<String, List<Reason>> byStage() {
    Map<String, List<Reason>> stages = new LinkedHashMap<>();
    stages.put("Decoding", Arrays.asList(DecodeReason.values()));
    stages.put("Normalising", Arrays.asList(NormaliseReason.values()));
    stages.put("Checks", Checks.reasons());
    stages.put("Sequence", Arrays.asList(SequenceReason.values()));
    stages.put("Processing", Arrays.asList(RefineReason.values()));
    stages.put("Delivery", Arrays.asList(DeliveryReason.values()));
    return stages;
  }

  /** Reads policies that may weigh any of these reasons. */
  public static PolicyFile policies() {
    return PolicyFile.knowing(byStage().values().stream().flatMap(List::stream).toList());
  }
}
