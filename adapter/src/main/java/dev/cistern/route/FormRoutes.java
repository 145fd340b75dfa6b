// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import org.apache.camel.builder.RouteBuilder;

/** Form posts below {@code /forms}: durable and checked before the answer. */
final class FormRoutes extends RouteBuilder {
  static final String SERVLET = "cistern";

  private final FormPost post;

  FormRoutes(FormPost post) {
    this.post = post;
  }

  @Override
  public void configure() {
    from("servlet:/?servletName="
            + SERVLET
            + "&matchOnUriPrefix=true&httpMethodRestrict=POST"
            + "&mapHttpMessageBody=false&mapHttpMessageHeaders=false"
            + "&mapHttpMessageFormUrlEncodedBody=false&muteException=true")
        .routeId("intake-form")
        .routeConfigurationId(ErrorPolicy.FORM)
        .process(post)
        .id("form-post");
  }
}
