// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.config.Settings;
import io.netty.channel.ChannelHandler;
import java.util.List;
import java.util.Map;
import java.util.Set;
import java.util.stream.Collectors;
import org.apache.camel.builder.RouteBuilder;
import org.apache.camel.component.netty.ChannelHandlerFactories;
import org.apache.camel.component.netty.NettyComponent;

/** HL7 v2 messages over MLLP: committed, then acknowledged on the same connection. */
final class MllpRoutes extends RouteBuilder {
  static final String TEMPLATE = "mllp-source";

  /** Committing is grouped, so more threads than cores pay; each works for one connection. */
  private static final int THREADS = 16;

  private final List<MllpReceive> sources;

  MllpRoutes(List<MllpReceive> sources) {
    this.sources = sources;
  }

  @Override
  public void configure() {
    getContext().getComponent("netty", NettyComponent.class).setMaximumPoolSize(THREADS);
    routeTemplate(TEMPLATE)
        .templateParameter("name")
        .templateParameter("address")
        .from("netty:tcp://{{address}}")
        .routeConfigurationId(ErrorPolicy.MLLP)
        .process("{{name}}")
        .id("{{name}}-receive");

    getContext()
        .getRegistry()
        .bind("mllp-encoder", ChannelHandlerFactories.newByteArrayEncoder("tcp"));
    for (MllpReceive each : sources) {
      Settings.Mllp source = each.source();
      String bean = "mllp-" + source.name();
      getContext().getRegistry().bind(bean, each);
      Map<String, ChannelHandler> decoders = MllpFrames.decoders(source);
      decoders.forEach(
          (name, handler) -> getContext().getRegistry().bind(bean + "-" + name, handler));
      if (source.tls() != null) {
        getContext().getRegistry().bind(bean + "-tls", MllpTls.of(source.tls()));
      }
      templatedRoute(TEMPLATE)
          .routeId("intake-" + source.name())
          .parameter("name", bean)
          .parameter("address", address(source, bean, decoders.keySet()));
    }
  }

  private static String address(Settings.Mllp source, String bean, Set<String> decoders) {
    return source.bind()
        + ":"
        + source.port()
        + "?sync=true&disconnect=false&disconnectOnNoReply=false&noReplyLogLevel=OFF&allowDefaultCodec=false&transferExchange=false"
        + "&serverClosedChannelExceptionCaughtLogLevel=OFF&serverExceptionCaughtLogLevel=DEBUG"
        + "&decoders="
        + decoders.stream().map(name -> "#" + bean + "-" + name).collect(Collectors.joining(","))
        + "&encoders=#mllp-encoder"
        + (source.tls() == null
            ? ""
            : "&ssl=true&sslContextParameters=#"
                + bean
                + "-tls&needClientAuth="
                + (source.tls().clients() != null));
  }
}
