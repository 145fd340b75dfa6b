// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import dev.cistern.config.Settings;
import org.apache.camel.support.jsse.ClientAuthentication;
import org.apache.camel.support.jsse.KeyManagersParameters;
import org.apache.camel.support.jsse.KeyStoreParameters;
import org.apache.camel.support.jsse.SSLContextParameters;
import org.apache.camel.support.jsse.SSLContextServerParameters;
import org.apache.camel.support.jsse.TrustManagersParameters;

/** TLS for a listener: its own certificate, and the clients that it accepts. */
final class MllpTls {
  private MllpTls() {}

  static SSLContextParameters of(Settings.ListenerTls tls) {
    SSLContextParameters parameters = new SSLContextParameters();
    KeyManagersParameters keys = new KeyManagersParameters();
    keys.setKeyStore(store(tls.keystore()));
    keys.setKeyPassword(tls.keystore().password().get());
    parameters.setKeyManagers(keys);
    SSLContextServerParameters server = new SSLContextServerParameters();
    if (tls.clients() != null) {
      TrustManagersParameters trust = new TrustManagersParameters();
      trust.setKeyStore(store(tls.clients()));
      parameters.setTrustManagers(trust);
      server.setClientAuthentication(ClientAuthentication.REQUIRE.name());
    }
    parameters.setServerParameters(server);
    return parameters;
  }

  private static KeyStoreParameters store(Settings.KeyFile file) {
    KeyStoreParameters store = new KeyStoreParameters();
    store.setType("PKCS12");
    store.setResource("file:" + file.path());
    store.setPassword(file.password().get());
    return store;
  }
}
