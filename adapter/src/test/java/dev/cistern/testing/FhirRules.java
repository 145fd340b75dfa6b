// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.testing;

import ca.uhn.fhir.context.FhirContext;
import ca.uhn.fhir.context.support.DefaultProfileValidationSupport;
import ca.uhn.fhir.context.support.IValidationSupport.IssueSeverity;
import ca.uhn.fhir.validation.FhirValidator;
import ca.uhn.fhir.validation.ResultSeverityEnum;
import ca.uhn.fhir.validation.SingleValidationMessage;
import dev.cistern.fhir.Conformance;
import dev.cistern.fhir.FhirJson;
import java.util.EnumSet;
import java.util.List;
import java.util.Set;
import org.hl7.fhir.common.hapi.validation.support.CommonCodeSystemsTerminologyService;
import org.hl7.fhir.common.hapi.validation.support.InMemoryTerminologyServerValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.PrePopulatedValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.SnapshotGeneratingValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.UnknownCodeSystemWarningValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.ValidationSupportChain;
import org.hl7.fhir.common.hapi.validation.validator.FhirInstanceValidator;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.Observation;
import org.hl7.fhir.r4.model.Resource;

/**
 * The reference validator with base R4 and our own profile. LOINC, SNOMED CT and DICOM codes cannot
 * be looked up offline: they give warnings, not errors.
 */
public final class FhirRules {
  private static final Set<ResultSeverityEnum> ERRORS =
      EnumSet.of(ResultSeverityEnum.ERROR, ResultSeverityEnum.FATAL);

  private FhirRules() {}

  private static final class Shared {
    static final FhirValidator VALIDATOR = validator();

    private static FhirValidator validator() {
      FhirContext context = FhirJson.context();
      PrePopulatedValidationSupport ours = new PrePopulatedValidationSupport(context);
      Conformance.files().values().forEach(json -> ours.addResource(FhirJson.parse(json)));
      UnknownCodeSystemWarningValidationSupport unknown =
          new UnknownCodeSystemWarningValidationSupport(context);
      unknown.setNonExistentCodeSystemSeverity(IssueSeverity.WARNING);
      ValidationSupportChain chain =
          new ValidationSupportChain(
              ours,
              new DefaultProfileValidationSupport(context),
              new CommonCodeSystemsTerminologyService(context),
              new InMemoryTerminologyServerValidationSupport(context),
              new SnapshotGeneratingValidationSupport(context),
              unknown);
      FhirInstanceValidator module = new FhirInstanceValidator(chain);
      return context.newValidator().registerValidatorModule(module);
    }
  }

  /**
   * What the validator calls an error, with where; each Observation is held against our profile for
   * it.
   */
  public static List<String> broken(Resource resource) {
    Resource claiming = resource.copy();
    if (claiming instanceof Observation observation) {
      observation.getMeta().addProfile(profile(observation));
    } else if (claiming instanceof Bundle bundle) {
      bundle.getEntry().stream()
          .map(Bundle.BundleEntryComponent::getResource)
          .filter(Observation.class::isInstance)
          .map(Observation.class::cast)
          .forEach(observation -> observation.getMeta().addProfile(profile(observation)));
    }
    return errors(FhirJson.encode(claiming));
  }

  private static String profile(Observation observation) {
    return observation.hasDerivedFrom() ? Conformance.DERIVED_PROFILE : Conformance.PROFILE;
  }

  /** What the validator calls an error in a resource as it stands. */
  public static List<String> errors(String json) {
    return Shared.VALIDATOR.validateWithResult(json).getMessages().stream()
        .filter(message -> ERRORS.contains(message.getSeverity()))
        .map(FhirRules::words)
        .toList();
  }

  private static String words(SingleValidationMessage message) {
    return message.getLocationString() + ": " + message.getMessage();
  }
}
