// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import com.zaxxer.hikari.HikariConfig;
import com.zaxxer.hikari.util.Credentials;
import java.sql.Connection;
import java.sql.DriverManager;
import java.sql.SQLException;
import java.util.Properties;
import java.util.regex.Pattern;

/** How we connect to PostgreSQL. What an address says itself stands. */
final class PostgresConnections {
  private static final String URL = "jdbc:postgresql:";
  private static final Pattern QUOTES_ROWS =
      Pattern.compile("[?&]logServerErrorDetail=(?!false(&|$))");

  private PostgresConnections() {}

  private static Properties properties() {
    Properties all = new Properties();
    all.setProperty("ApplicationName", "cistern");
    all.setProperty("connectTimeout", "5");
    // A server that hangs must not hang us for ever; long walks come in pieces.
    all.setProperty("socketTimeout", "120");
    all.setProperty("tcpKeepAlive", "true");
    // Details of failures quote rows.
    all.setProperty("logServerErrorDetail", "false");
    all.setProperty("options", session());
    return all;
  }

  /**
   * A node that stands still in the middle of its turn, or whose host is gone, must not keep the
   * others waiting; and no server's defaults may weaken a commit.
   */
  private static String session() {
    return String.join(
        " ",
        "-c idle_in_transaction_session_timeout=20s",
        "-c lock_timeout=40s",
        "-c tcp_keepalives_idle=10",
        "-c tcp_keepalives_interval=5",
        "-c tcp_keepalives_count=3",
        "-c synchronous_commit=on",
        // The trigger that seals rows does so for us only.
        "-c cistern.writes=on");
  }

  static HikariConfig pooled(SharedStore store) {
    HikariConfig config = new HikariConfig();
    config.setJdbcUrl(checked(store));
    config.setDataSourceProperties(properties());
    config.setCredentialsProvider(() -> Credentials.of(store.user(), store.password().get()));
    return config;
  }

  /** A connection outside of the pool, to be kept. */
  static Connection lasting(SharedStore store) throws SQLException {
    Properties all = properties();
    String user = store.user();
    if (user != null) {
      all.setProperty("user", user);
    }
    String password = store.password().get();
    if (password != null) {
      all.setProperty("password", password);
    }
    return DriverManager.getConnection(checked(store), all);
  }

  private static String checked(SharedStore store) {
    if (!store.url().startsWith(URL)) {
      throw new LedgerUnavailable(
          "store.url does not begin with " + URL + "; say jdbc:postgresql://host:port/database");
    }
    if (QUOTES_ROWS.matcher(store.url()).find()) {
      throw new LedgerUnavailable(
          "store.url asks for logServerErrorDetail: the server's words quote patients' rows, and"
              + " would get into logs; take it out");
    }
    return store.url();
  }
}
