// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import java.math.BigDecimal;
import java.util.ArrayList;
import java.util.Comparator;
import java.util.List;
import java.util.Objects;
import java.util.Set;
import org.hl7.fhir.r4.model.Base;
import org.hl7.fhir.r4.model.BaseDateTimeType;
import org.hl7.fhir.r4.model.Coding;
import org.hl7.fhir.r4.model.DecimalType;
import org.hl7.fhir.r4.model.Meta;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Property;
import org.hl7.fhir.r4.model.Reference;

/**
 * Where an Observation read back differs from the one that was sent. What servers do to every
 * resource is no difference: ids and versions, a narrative, labels and tags added, codings in
 * another order or with another display, references made absolute or resolved, a time in another
 * zone, a trailing zero.
 */
public final class Differences {
  /** Never compared, wherever they stand. */
  private static final Set<String> SERVERS_OWN = Set.of("id", "text", "meta", "implicitRules");

  private final List<String> paths = new ArrayList<>();

  private Differences() {}

  /** FHIRPath of each element that differs, without any value; empty where nothing does. */
  public static List<String> between(Observation expected, Observation actual) {
    Differences differences = new Differences();
    differences.labels("Observation.meta", expected.getMeta(), actual.getMeta());
    for (Property property : expected.children()) {
      if (!SERVERS_OWN.contains(property.getName())) {
        differences.property("Observation", property, actual);
      }
    }
    return List.copyOf(differences.paths);
  }

  /** What we labelled has to keep its labels; a server may add its own. */
  private void labels(String path, Meta expected, Meta actual) {
    if (!codes(actual.getSecurity()).containsAll(codes(expected.getSecurity()))) {
      paths.add(path + ".security");
    }
    if (!codes(actual.getTag()).containsAll(codes(expected.getTag()))) {
      paths.add(path + ".tag");
    }
  }

  private void property(String parent, Property property, Base actualParent) {
    String path = parent + "." + property.getName().replace("[x]", "");
    Property counterpart = actualParent.getNamedProperty(property.getName());
    List<Base> expected = present(property);
    List<Base> actual = counterpart == null ? List.of() : present(counterpart);
    if (expected.size() != actual.size()) {
      paths.add(path);
      return;
    }
    if (expected.stream().allMatch(Coding.class::isInstance)) {
      expected = sorted(expected);
      actual = sorted(actual);
    }
    for (int i = 0; i < expected.size(); i++) {
      String at = property.isList() ? path + "[" + i + "]" : path;
      element(at, expected.get(i), actual.get(i));
    }
  }

  private void element(String path, Base expected, Base actual) {
    if (!expected.fhirType().equals(actual.fhirType())) {
      paths.add(path);
    } else if (expected instanceof Reference reference) {
      reference(path, reference, (Reference) actual);
    } else if (expected instanceof Coding coding) {
      note(path, code(coding).equals(code((Coding) actual)));
    } else if (expected instanceof BaseDateTimeType time) {
      note(path, sameTime(time, (BaseDateTimeType) actual));
    } else if (expected instanceof DecimalType number) {
      note(path, sameNumber(number.getValue(), ((DecimalType) actual).getValue()));
    } else {
      if (expected.isPrimitive()) {
        note(path, Objects.equals(expected.primitiveValue(), actual.primitiveValue()));
      }
      for (Property property : expected.children()) {
        if (!property.getName().equals("id")) {
          property(path, property, actual);
        }
      }
    }
  }

  private void reference(String path, Reference expected, Reference actual) {
    if (expected.hasIdentifier()) {
      property(path, expected.getNamedProperty("identifier"), actual);
    }
    if (!expected.hasReference()) {
      return;
    }
    String sent = expected.getReference();
    String found = actual.hasReference() ? actual.getReference() : "";
    boolean same;
    if (sent.startsWith("urn:uuid:")) {
      same = !found.isEmpty() && !found.startsWith("urn:uuid:");
    } else if (sent.contains("?")) {
      same = local(found).startsWith(sent.substring(0, sent.indexOf('?')) + "/");
    } else {
      same = local(sent).equals(local(found));
    }
    note(path + ".reference", same);
  }

  /** {@code Patient/17}, whatever stands before and after. */
  private static String local(String reference) {
    String plain = reference.replaceFirst("/_history/.*$", "");
    int id = plain.lastIndexOf('/');
    int type = id < 0 ? -1 : plain.lastIndexOf('/', id - 1);
    return plain.substring(type + 1);
  }

  private static boolean sameTime(BaseDateTimeType expected, BaseDateTimeType actual) {
    String sent = expected.getValueAsString();
    String found = actual.getValueAsString();
    return (sent.contains("T") && found.contains("T"))
        ? expected.getValue().toInstant().equals(actual.getValue().toInstant())
        : sent.equals(found);
  }

  private static boolean sameNumber(BigDecimal expected, BigDecimal actual) {
    return expected != null && actual != null && expected.compareTo(actual) == 0;
  }

  private void note(String path, boolean same) {
    if (!same) {
      paths.add(path);
    }
  }

  private static List<Base> present(Property property) {
    return property.getValues().stream()
        .filter(value -> value != null && !value.isEmpty())
        .toList();
  }

  private static List<Base> sorted(List<Base> codings) {
    return codings.stream()
        .sorted(Comparator.comparing(coding -> coding instanceof Coding c ? code(c) : ""))
        .toList();
  }

  private static List<String> codes(List<Coding> codings) {
    return codings.stream().map(Differences::code).toList();
  }

  private static String code(Coding coding) {
    return coding.getSystem() + "|" + coding.getCode();
  }
}
