// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import ca.uhn.fhir.context.BaseRuntimeChildDefinition;
import ca.uhn.fhir.context.BaseRuntimeDeclaredChildDefinition;
import ca.uhn.fhir.context.BaseRuntimeElementCompositeDefinition;
import ca.uhn.fhir.context.BaseRuntimeElementDefinition;
import java.lang.reflect.Field;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.Set;
import java.util.concurrent.ConcurrentHashMap;
import org.hl7.fhir.r4.model.Base;
import org.hl7.fhir.r4.model.DomainResource;
import org.hl7.fhir.r4.model.Extension;
import org.jspecify.annotations.Nullable;

/**
 * An element of a type of the model, where its values are kept, and what they are called in JSON.
 */
final class ModelChild {
  /** Written in places of their own. */
  private static final Set<String> APART = Set.of("id", "extension", "modifierExtension");

  /** In a resource; a CodeableConcept has a text of another kind. */
  private static final Set<String> APART_IN_RESOURCES = Set.of("text", "contained");

  private static final Set<String> OF_EVERY_RESOURCE = Set.of("meta", "implicitRules", "language");

  private static final Map<Class<?>, List<ModelChild>> KNOWN = new ConcurrentHashMap<>();
  private static final Map<Class<?>, String> EXTENSION_VALUES = new ConcurrentHashMap<>();

  private final Field field;
  private final BaseRuntimeChildDefinition definition;
  private final Map<Class<?>, String> names = new ConcurrentHashMap<>();

  private ModelChild(Field field, BaseRuntimeChildDefinition definition) {
    this.field = field;
    this.definition = definition;
  }

  /** The elements of a type, in their order, but for those that are written apart. */
  static List<ModelChild> of(Class<? extends Base> type) {
    List<ModelChild> known = KNOWN.get(type);
    return known == null ? KNOWN.computeIfAbsent(type, key -> read(type)) : known;
  }

  private static List<ModelChild> read(Class<? extends Base> type) {
    BaseRuntimeElementDefinition<?> of = FhirJson.context().getElementDefinition(type);
    List<ModelChild> children = new ArrayList<>();
    for (BaseRuntimeChildDefinition child :
        ((BaseRuntimeElementCompositeDefinition<?>) of).getChildren()) {
      if (!isApart(type, child.getElementName())
          && child instanceof BaseRuntimeDeclaredChildDefinition declared) {
        Field field = declared.getField();
        field.setAccessible(true);
        children.add(new ModelChild(field, child));
      }
    }
    return List.copyOf(children);
  }

  /** How many at the beginning are elements that every resource has: extensions follow them. */
  static int ofEveryResource(List<ModelChild> children) {
    int count = 0;
    while (count < children.size()
        && OF_EVERY_RESOURCE.contains(children.get(count).definition.getElementName())) {
      count++;
    }
    return count;
  }

  private static boolean isApart(Class<? extends Base> type, String name) {
    return APART.contains(name)
        || (DomainResource.class.isAssignableFrom(type) && APART_IN_RESOURCES.contains(name));
  }

  /** A value, a list of them, or nothing. */
  @Nullable Object value(Base element) {
    try {
      return field.get(element);
    } catch (IllegalAccessException e) {
      throw new IllegalStateException(field + " cannot be read", e);
    }
  }

  /** Of an element of several types the name says which: {@code valueQuantity}. */
  String name(Base value) {
    Class<? extends Base> type = value.getClass();
    String known = names.get(type);
    return known == null ? names.computeIfAbsent(type, key -> nameOf(definition, type)) : known;
  }

  private static String nameOf(BaseRuntimeChildDefinition definition, Class<? extends Base> type) {
    String name = definition.getChildNameByDatatype(type);
    return name == null ? definition.getElementName() : name;
  }

  static String extensionValue(Base value) {
    return EXTENSION_VALUES.computeIfAbsent(
        value.getClass(),
        key ->
            nameOf(
                ((BaseRuntimeElementCompositeDefinition<?>)
                        FhirJson.context().getElementDefinition(Extension.class))
                    .getChildByName("value[x]"),
                value.getClass()));
  }
}
