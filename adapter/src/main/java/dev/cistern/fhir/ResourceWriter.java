// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.fhir;

import com.fasterxml.jackson.core.JsonFactory;
import com.fasterxml.jackson.core.JsonGenerator;
import java.io.IOException;
import java.io.StringWriter;
import java.io.UncheckedIOException;
import java.util.List;
import org.hl7.fhir.instance.model.api.IBaseBooleanDatatype;
import org.hl7.fhir.instance.model.api.IBaseDecimalDatatype;
import org.hl7.fhir.instance.model.api.IBaseIntegerDatatype;
import org.hl7.fhir.r4.model.Base;
import org.hl7.fhir.r4.model.BaseReference;
import org.hl7.fhir.r4.model.DomainResource;
import org.hl7.fhir.r4.model.Element;
import org.hl7.fhir.r4.model.Extension;
import org.hl7.fhir.r4.model.IdType;
import org.hl7.fhir.r4.model.Narrative;
import org.hl7.fhir.r4.model.PrimitiveType;
import org.hl7.fhir.r4.model.Reference;
import org.hl7.fhir.r4.model.Resource;
import org.jspecify.annotations.Nullable;

/**
 * Writes resources as HAPI's parser does, byte for byte, in a fraction of its time: it walks the
 * same definitions, and leaves out what the parser does for resources of any kind. A resource that
 * holds what is rare (narrative, contained resources, extensions of single values, versions in
 * references) is left to the parser.
 */
final class ResourceWriter {
  private static final JsonFactory JSON = new JsonFactory();
  private static final int USUAL_LENGTH = 4096;

  /** Something is met that is left to the parser. */
  private static final class Rare extends RuntimeException {
    private static final long serialVersionUID = 1L;

    Rare() {
      super("left to the parser", null, false, false);
    }
  }

  private final JsonGenerator out;

  private ResourceWriter(JsonGenerator out) {
    this.out = out;
  }

  /** The resource on one line; null where it is left to the parser. */
  static @Nullable String write(Resource resource) {
    StringWriter text = new StringWriter(USUAL_LENGTH);
    try (JsonGenerator out = JSON.createGenerator(text)) {
      new ResourceWriter(out).resource(resource);
    } catch (Rare e) {
      return null;
    } catch (IOException e) {
      throw new UncheckedIOException("writing a resource in memory failed", e);
    }
    return text.toString();
  }

  private void resource(Resource resource) throws IOException {
    if (resource instanceof DomainResource domain
        && (domain.hasText() || domain.hasContained() || domain.hasModifierExtension())) {
      throw new Rare();
    }
    out.writeStartObject();
    out.writeStringField("resourceType", resource.fhirType());
    IdType id = resource.getIdElement();
    if (id.hasIdPart()) {
      if (id.hasVersionIdPart() || id.hasBaseUrl() || isMarked(id)) {
        throw new Rare();
      }
      out.writeStringField("id", id.getIdPart());
    }
    List<ModelChild> all = ModelChild.of(resource.getClass());
    int own = ModelChild.ofEveryResource(all);
    children(resource, all.subList(0, own));
    if (resource instanceof DomainResource domain) {
      extensions(domain.getExtension());
    }
    children(resource, all.subList(own, all.size()));
    out.writeEndObject();
  }

  private void children(Base element, List<ModelChild> children) throws IOException {
    for (ModelChild child : children) {
      Object value = child.value(element);
      if (value instanceof List<?> list) {
        array(child, list);
      } else if (value instanceof Base one && !one.isEmpty()) {
        out.writeFieldName(child.name(one));
        value(one);
      }
    }
  }

  private void array(ModelChild child, List<?> list) throws IOException {
    boolean begun = false;
    for (Object each : list) {
      if (each instanceof Base one && !one.isEmpty()) {
        if (!begun) {
          out.writeArrayFieldStart(child.name(one));
          begun = true;
        }
        value(one);
      }
    }
    if (begun) {
      out.writeEndArray();
    }
  }

  private void value(Base value) throws IOException {
    if (value instanceof PrimitiveType<?> primitive) {
      primitive(primitive);
    } else if (value instanceof Resource resource) {
      resource(resource);
    } else if (value instanceof Element element && !(value instanceof Narrative)) {
      composite(element);
    } else {
      throw new Rare();
    }
  }

  private void composite(Element element) throws IOException {
    if (element.hasId()
        || (element instanceof org.hl7.fhir.r4.model.BackboneElement backbone
            && backbone.hasModifierExtension())
        || (element instanceof BaseReference reference && isRare(reference))) {
      throw new Rare();
    }
    out.writeStartObject();
    extensions(element.getExtension());
    children(element, ModelChild.of(element.getClass()));
    out.writeEndObject();
  }

  /** The parser knows other ways to write what is linked, inside this resource, or of a version. */
  private static boolean isRare(BaseReference reference) {
    String text = reference instanceof Reference plain ? plain.getReference() : null;
    return reference.getResource() != null
        || (text != null && (text.startsWith("#") || text.contains("/_history/")));
  }

  private void extensions(List<Extension> extensions) throws IOException {
    if (extensions.isEmpty()) {
      return;
    }
    out.writeArrayFieldStart("extension");
    for (Extension extension : extensions) {
      if (extension.isEmpty() || extension.hasId() || extension.getUrlElement().hasExtension()) {
        throw new Rare();
      }
      out.writeStartObject();
      out.writeStringField("url", extension.getUrl());
      extensions(extension.getExtension());
      if (extension.hasValue()) {
        out.writeFieldName(ModelChild.extensionValue(extension.getValue()));
        value(extension.getValue());
      }
      out.writeEndObject();
    }
    out.writeEndArray();
  }

  private void primitive(PrimitiveType<?> value) throws IOException {
    String text = value.getValueAsString();
    if (text == null || text.isBlank() || isMarked(value) || value instanceof IdType) {
      throw new Rare();
    }
    if (value instanceof IBaseBooleanDatatype) {
      out.writeBoolean("true".equals(text));
    } else if (value instanceof IBaseIntegerDatatype || value instanceof IBaseDecimalDatatype) {
      out.writeNumber(text);
    } else {
      out.writeString(text);
    }
  }

  private static boolean isMarked(Element value) {
    return value.hasId() || value.hasExtension();
  }
}
