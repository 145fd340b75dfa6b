// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.ledger;

import java.sql.Types;
import org.jdbi.v3.core.argument.AbstractArgumentFactory;
import org.jdbi.v3.core.argument.Argument;
import org.jdbi.v3.core.config.ConfigRegistry;

/**
 * Texts for PostgreSQL, whose texts cannot hold the character of number zero: a replacement
 * character takes its place. The raw bytes still have it.
 */
final class PlainText extends AbstractArgumentFactory<String> {
  PlainText() {
    super(Types.VARCHAR);
  }

  static String of(String text) {
    return text.indexOf('\0') < 0 ? text : text.replace('\0', '\uFFFD');
  }

  @Override
  protected Argument build(String value, ConfigRegistry config) {
    String text = of(value);
    return (position, statement, context) -> statement.setString(position, text);
  }
}
