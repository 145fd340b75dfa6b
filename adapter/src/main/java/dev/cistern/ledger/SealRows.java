// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import dev.cistern.scan.Sha256;
import java.sql.Connection;
import java.sql.PreparedStatement;
import java.sql.ResultSet;
import java.sql.SQLException;
import java.sql.Statement;
import org.flywaydb.core.api.MigrationVersion;
import org.flywaydb.core.api.migration.Context;
import org.flywaydb.core.api.migration.JavaMigration;
import org.jspecify.annotations.Nullable;

/**
 * Gives each row that says something a seal, and each piece of raw bytes the hash of its bytes, so
 * that what the disk changed, or somebody with a tool, is noticed when it is read. In Java, since
 * SQLite has no SHA-256. Later migrations may add only columns that are null to sealed tables.
 */
final class SealRows implements JavaMigration {
  @Override
  public MigrationVersion getVersion() {
    return MigrationVersion.fromVersion("7");
  }

  @Override
  public String getDescription() {
    return "seals";
  }

  @Override
  public @Nullable Integer getChecksum() {
    return null;
  }

  @Override
  public boolean canExecuteInTransaction() {
    return true;
  }

  @Override
  public void migrate(Context context) throws SQLException {
    try (Statement statement = context.getConnection().createStatement()) {
      for (String table : Seals.SEALED) {
        statement.execute("ALTER TABLE " + table + " ADD COLUMN seal BLOB");
      }
      statement.execute("ALTER TABLE submission_chunk ADD COLUMN sha256 BLOB");
    }
    Seals.all(context.getConnection());
    hashes(context.getConnection());
  }

  private static void hashes(Connection connection) throws SQLException {
    try (Statement read = connection.createStatement();
        PreparedStatement write =
            connection.prepareStatement(
                "UPDATE submission_chunk SET sha256 = ? WHERE submission_id = ? AND number = ?");
        ResultSet rs =
            read.executeQuery("SELECT submission_id, number, bytes FROM submission_chunk")) {
      while (rs.next()) {
        write.setBytes(1, Sha256.of(rs.getBytes("bytes")));
        write.setLong(2, rs.getLong("submission_id"));
        write.setInt(3, rs.getInt("number"));
        write.executeUpdate();
      }
    }
  }
}
