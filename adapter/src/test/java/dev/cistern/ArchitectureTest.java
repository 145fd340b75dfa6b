// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern;

import static com.tngtech.archunit.lang.syntax.ArchRuleDefinition.classes;
import static com.tngtech.archunit.lang.syntax.ArchRuleDefinition.noClasses;
import static com.tngtech.archunit.library.dependencies.SlicesRuleDefinition.slices;

import com.tngtech.archunit.base.DescribedPredicate;
import com.tngtech.archunit.core.domain.AccessTarget;
import com.tngtech.archunit.core.domain.JavaAccess;
import com.tngtech.archunit.core.domain.JavaClass;
import com.tngtech.archunit.core.domain.JavaClasses;
import com.tngtech.archunit.core.importer.ImportOption;
import com.tngtech.archunit.junit.AnalyzeClasses;
import com.tngtech.archunit.junit.ArchTest;
import com.tngtech.archunit.lang.ArchCondition;
import com.tngtech.archunit.lang.ArchRule;
import com.tngtech.archunit.lang.ConditionEvents;
import com.tngtech.archunit.lang.SimpleConditionEvent;
import java.util.Set;
import java.util.TreeSet;
import org.jspecify.annotations.NullMarked;

/** Each rule's name is the rule. */
@AnalyzeClasses(packages = "dev.cistern", importOptions = ImportOption.DoNotIncludeTests.class)
final class ArchitectureTest {
  private static final String[] STAGES = {
    "dev.cistern.mapping..", "dev.cistern.normalise..", "dev.cistern.check..", "dev.cistern.fhir.."
  };
  private static final String[] FHIR = {"org.hl7.fhir..", "ca.uhn.fhir.."};

  private ArchitectureTest() {}

  @ArchTest
  static final ArchRule packages_are_free_of_cycles =
      slices().matching("dev.cistern.(*)..").should().beFreeOfCycles();

  @ArchTest
  static final ArchRule scan_knows_nothing_of_ours =
      noClasses()
          .that()
          .resideInAPackage("dev.cistern.scan..")
          .should()
          .dependOnClassesThat(ofOurs("dev.cistern.scan"));

  @ArchTest
  static final ArchRule stages_know_only_scan_and_yaml =
      classes()
          .that()
          .resideInAnyPackage(STAGES)
          .should(knowOfOursOnlyTheirOwnPackageAnd("scan", "yaml"));

  @ArchTest
  static final ArchRule stages_are_pure =
      noClasses()
          .that()
          .resideInAnyPackage(STAGES)
          .should()
          .dependOnClassesThat()
          .resideInAnyPackage(
              "org.apache.camel..",
              "java.sql..",
              "javax.sql..",
              "org.jdbi..",
              "java.net.http..",
              "jakarta.servlet..",
              "java.util.concurrent.locks..",
              "org.slf4j..",
              "java.util.logging..",
              "ca.uhn.fhir.rest..")
          .orShould()
          .dependOnClassesThat()
          .areAssignableTo(Thread.class)
          .orShould()
          .dependOnClassesThat()
          .areAssignableTo(java.util.concurrent.Executor.class)
          .orShould()
          .dependOnClassesThat()
          .areAssignableTo(java.util.concurrent.Future.class);

  @ArchTest
  static final ArchRule only_the_edges_read_the_system_clock =
      noClasses()
          .that()
          .resideOutsideOfPackages("dev.cistern", "dev.cistern.cli..", "dev.cistern.demo..")
          .should()
          .accessTargetWhere(readsTheSystemClock());

  @ArchTest
  static final ArchRule camel_stays_in_route =
      noClasses()
          .that()
          .resideOutsideOfPackage("dev.cistern.route..")
          .should()
          .dependOnClassesThat()
          .resideInAPackage("org.apache.camel..");

  @ArchTest
  static final ArchRule sql_stays_in_ledger =
      noClasses()
          .that()
          .resideOutsideOfPackage("dev.cistern.ledger..")
          .should()
          .dependOnClassesThat()
          .resideInAnyPackage("java.sql..", "javax.sql..", "org.jdbi..", "org.sqlite..");

  @ArchTest
  static final ArchRule fhir_models_stay_in_fhir_delivery_and_demo =
      noClasses()
          .that()
          .resideOutsideOfPackages(
              "dev.cistern.fhir..", "dev.cistern.delivery..", "dev.cistern.demo..")
          .should()
          .dependOnClassesThat()
          .resideInAnyPackage(FHIR);

  @ArchTest
  static final ArchRule hl7_v2_messages_stay_in_mapping =
      noClasses()
          .that()
          .resideOutsideOfPackage("dev.cistern.mapping..")
          .should()
          .dependOnClassesThat()
          .resideInAPackage("ca.uhn.hl7v2..");

  @ArchTest
  static final ArchRule what_people_see_is_known_only_to_the_root =
      noClasses()
          .that()
          .resideOutsideOfPackages("dev.cistern", "dev.cistern.cli..")
          .should()
          .dependOnClassesThat()
          .resideInAPackage("dev.cistern.cli..");

  @ArchTest
  static final ArchRule the_ledger_knows_only_scan_and_json =
      classes()
          .that()
          .resideInAPackage("dev.cistern.ledger..")
          .should(knowOfOursOnlyTheirOwnPackageAnd("scan", "json"));

  @ArchTest
  static final ArchRule the_frame_of_pages_knows_only_scan_and_json =
      classes()
          .that()
          .resideInAPackage("dev.cistern.page..")
          .should(knowOfOursOnlyTheirOwnPackageAnd("scan", "json"));

  @ArchTest
  static final ArchRule nothing_goes_by_a_name_that_says_nothing =
      noClasses()
          .should()
          .haveSimpleNameEndingWith("Manager")
          .orShould()
          .haveSimpleNameEndingWith("Util")
          .orShould()
          .haveSimpleNameEndingWith("Utils")
          .orShould()
          .haveSimpleNameEndingWith("Helper")
          .orShould()
          .haveSimpleNameEndingWith("Impl")
          .orShould()
          .haveSimpleNameEndingWith("Service");

  @ArchTest
  static void every_package_is_null_marked(JavaClasses all) throws ClassNotFoundException {
    Set<String> packages = new TreeSet<>();
    all.forEach(each -> packages.add(each.getPackageName()));
    for (String name : packages) {
      Class<?> info = Class.forName(name + ".package-info");
      if (!info.isAnnotationPresent(NullMarked.class)) {
        throw new AssertionError(name + " has no package-info with @NullMarked");
      }
    }
  }

  /** {@code dev.cistern.fhir} of {@code dev.cistern.fhir.x.Y}; the root is itself. */
  private static String top(JavaClass each) {
    String[] parts = each.getPackageName().split("\\.", 4);
    return parts.length < 3 ? "dev.cistern" : String.join(".", parts[0], parts[1], parts[2]);
  }

  private static boolean isOurs(JavaClass each) {
    return each.getPackageName().startsWith("dev.cistern");
  }

  private static DescribedPredicate<JavaClass> ofOurs(String except) {
    return DescribedPredicate.describe(
        "are ours, but not of " + except, each -> isOurs(each) && !top(each).equals(except));
  }

  private static ArchCondition<JavaClass> knowOfOursOnlyTheirOwnPackageAnd(String... allowed) {
    Set<String> names = new TreeSet<>();
    for (String each : allowed) {
      names.add("dev.cistern." + each);
    }
    return new ArchCondition<>("know of ours only their own package and " + names) {
      @Override
      public void check(JavaClass each, ConditionEvents events) {
        each.getDirectDependenciesFromSelf().stream()
            .filter(d -> isOurs(d.getTargetClass()))
            .filter(d -> !top(d.getTargetClass()).equals(top(each)))
            .filter(d -> !names.contains(top(d.getTargetClass())))
            .forEach(d -> events.add(SimpleConditionEvent.violated(each, d.getDescription())));
      }
    };
  }

  private static DescribedPredicate<JavaAccess<?>> readsTheSystemClock() {
    return DescribedPredicate.describe(
        "reads the system clock",
        access -> {
          AccessTarget target = access.getTarget();
          String owner = target.getOwner().getName();
          String name = target.getName();
          boolean clock =
              owner.equals("java.time.Clock")
                  && (name.startsWith("system") || name.startsWith("tick"));
          boolean now =
              owner.startsWith("java.time.")
                  && name.equals("now")
                  && access.getDescription().contains(".now()");
          boolean system =
              owner.equals("java.lang.System")
                  && (name.equals("currentTimeMillis") || name.equals("nanoTime"));
          boolean date = owner.equals("java.util.Date") && name.equals("<init>");
          return clock || now || system || date;
        });
  }
}
