// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.lang.annotation.ElementType;
import java.lang.annotation.Retention;
import java.lang.annotation.RetentionPolicy;
import java.lang.annotation.Target;
import java.util.List;
import java.util.stream.Stream;
import org.junit.jupiter.api.ClassTemplate;
import org.junit.jupiter.api.extension.AfterClassTemplateInvocationCallback;
import org.junit.jupiter.api.extension.BeforeClassTemplateInvocationCallback;
import org.junit.jupiter.api.extension.ClassTemplateInvocationContext;
import org.junit.jupiter.api.extension.ClassTemplateInvocationContextProvider;
import org.junit.jupiter.api.extension.ExtendWith;
import org.junit.jupiter.api.extension.Extension;
import org.junit.jupiter.api.extension.ExtensionContext;

/** What these tests say of the ledger holds on each engine: they run once on each. */
@Target(ElementType.TYPE)
@Retention(RetentionPolicy.RUNTIME)
@ClassTemplate
@ExtendWith(EachEngine.Engines.class)
@interface EachEngine {

  final class Engines implements ClassTemplateInvocationContextProvider {
    @Override
    public boolean supportsClassTemplate(ExtensionContext context) {
      return true;
    }

    @Override
    public Stream<ClassTemplateInvocationContext> provideClassTemplateInvocationContexts(
        ExtensionContext context) {
      return Stream.of(On.values()).map(Run::new);
    }
  }

  record Run(On on) implements ClassTemplateInvocationContext {
    @Override
    public String getDisplayName(int invocation) {
      return on.name();
    }

    @Override
    public List<Extension> getAdditionalExtensions() {
      BeforeClassTemplateInvocationCallback use = context -> Store.use(on);
      AfterClassTemplateInvocationCallback back = context -> Store.use(On.SQLITE);
      return List.of(use, back);
    }
  }
}
