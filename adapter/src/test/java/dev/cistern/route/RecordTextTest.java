// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;

import com.tngtech.archunit.core.domain.JavaClass;
import com.tngtech.archunit.core.importer.ClassFileImporter;
import com.tngtech.archunit.core.importer.ImportOption;
import java.lang.reflect.Constructor;
import java.lang.reflect.InvocationTargetException;
import java.lang.reflect.RecordComponent;
import java.math.BigDecimal;
import java.time.Duration;
import java.time.Instant;
import java.time.LocalDate;
import java.time.OffsetDateTime;
import java.util.Arrays;
import java.util.List;
import java.util.Map;
import java.util.Optional;
import java.util.Set;
import java.util.TreeMap;
import org.jspecify.annotations.Nullable;
import org.junit.jupiter.api.Test;

/** No record that carries something of a patient shows it as a text. */
class RecordTextTest {
  private static final String MARK = "ZZMARK";

  /** Parts that are texts, and hold nothing of a patient. */
  private static final Set<String> HARMLESS =
      Set.of(
          "source",
          "kind",
          "code",
          "reason",
          "mode",
          "actor",
          "event",
          "mapping",
          "policy",
          "sha256",
          "state",
          "status",
          "location",
          "version",
          "outcome",
          "word",
          "from",
          "to",
          "head",
          "origin",
          "deviceSerial",
          "missing",
          "hash",
          "url",
          "why",
          "software",
          "fhirVersion",
          "words",
          "system",
          "detail",
          "next",
          "owner",
          "type",
          "method",
          "etag",
          "contentType",
          "serial",
          "model",
          "differences",
          "doubled",
          "damaged",
          "table",
          "ifMatch",
          "observationId",
          "pattern",
          "reference",
          "keyHash",
          "contentHash",
          "content");

  /** What these hold comes from settings and code tables, or names a device. */
  private static final Set<String> CONFIGURED =
      Set.of("Destination", "CodeRow", "InterpretationTable", "LocalCodes", "SharedDevice");

  @Test
  void records_show_nothing_of_a_patient() {
    Map<String, String> showing = new TreeMap<>();
    int looked = 0;
    for (JavaClass each :
        new ClassFileImporter()
            .withImportOption(new ImportOption.DoNotIncludeTests())
            .importPackages(
                "dev.cistern.scan",
                "dev.cistern.ledger",
                "dev.cistern.delivery",
                "dev.cistern.fhir")) {
      Class<?> type = each.reflect();
      if (type.isRecord() && !CONFIGURED.contains(type.getSimpleName())) {
        Object record = record(type);
        if (record != null) {
          looked++;
          String text = String.valueOf(record);
          if (text.contains(MARK) || text.contains("1958")) {
            showing.put(type.getName(), text);
          }
        }
      }
    }
    assertThat(looked).isGreaterThan(30);
    assertThat(showing).isEmpty();
  }

  private static @Nullable Object record(Class<?> type) {
    if (type == dev.cistern.scan.ScanKey.class) {
      return dev.cistern.scan.ScanKey.ofExam("AV-0012", "0007");
    }
    RecordComponent[] parts = type.getRecordComponents();
    Object[] values = Arrays.stream(parts).map(RecordTextTest::value).toArray();
    Class<?>[] types = Arrays.stream(parts).map(RecordComponent::getType).toArray(Class<?>[]::new);
    try {
      Constructor<?> constructor = type.getDeclaredConstructor(types);
      constructor.setAccessible(true);
      return constructor.newInstance(values);
    } catch (InvocationTargetException e) {
      return null; // its invariants take no marked text
    } catch (ReflectiveOperationException e) {
      throw new AssertionError(type.getName(), e);
    }
  }

  private static String value(String name) {
    return HARMLESS.contains(name) ? "x" : MARK;
  }

  private static boolean ofTexts(RecordComponent part) {
    return part.getGenericType().getTypeName().endsWith("<java.lang.String>");
  }

  private static @Nullable Object value(RecordComponent part) {
    Class<?> type = part.getType();
    if (type == String.class) {
      return value(part.getName());
    }
    if (type == int.class || type == Integer.class) {
      return 1;
    }
    if (type == long.class || type == Long.class) {
      return 1L;
    }
    if (type == boolean.class) {
      return true;
    }
    if (type == LocalDate.class) {
      return LocalDate.of(1958, 7, 23);
    }
    if (type == Instant.class) {
      return Instant.EPOCH;
    }
    if (type == Duration.class) {
      return Duration.ZERO;
    }
    if (type == OffsetDateTime.class) {
      return OffsetDateTime.parse("2026-03-14T09:05:00+01:00");
    }
    if (type == BigDecimal.class) {
      return BigDecimal.ONE;
    }
    if (type.isEnum()) {
      return type.getEnumConstants()[0];
    }
    if (type.isRecord()) {
      return record(type);
    }
    if (type == List.class) {
      return ofTexts(part) ? List.of(value(part.getName())) : List.of();
    }
    if (type == Set.class) {
      return ofTexts(part) ? Set.of(value(part.getName())) : Set.of();
    }
    if (type == Map.class) {
      return Map.of();
    }
    if (type == Optional.class) {
      return Optional.empty();
    }
    return type.isPrimitive()
        ? java.lang.reflect.Array.get(java.lang.reflect.Array.newInstance(type, 1), 0)
        : null;
  }
}
