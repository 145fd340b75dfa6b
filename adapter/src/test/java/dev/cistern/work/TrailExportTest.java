// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.work;

import static org.assertj.core.api.Assertions.assertThat;

import de.siegmar.fastcsv.reader.CsvReader;
import de.siegmar.fastcsv.reader.CsvRecord;
import dev.cistern.json.Json;
import dev.cistern.ledger.Ledger;
import dev.cistern.testing.TestClock;
import java.io.StringWriter;
import java.nio.file.Path;
import java.time.Duration;
import java.util.List;
import org.junit.jupiter.api.AfterEach;
import org.junit.jupiter.api.BeforeEach;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

class TrailExportTest {
  private final TestClock clock = TestClock.at("2026-03-14T09:00:00Z");
  private final StringWriter out = new StringWriter();

  @SuppressWarnings("NullAway.Init")
  private Ledger ledger;

  @BeforeEach
  void open(@TempDir Path folder) {
    ledger = Ledger.open(folder, clock);
  }

  @AfterEach
  void close() {
    ledger.close();
  }

  private List<CsvRecord> csv() throws Exception {
    new TrailExport(ledger).csv(null, out);
    return CsvReader.builder().ofCsvRecord(out.toString()).stream().toList();
  }

  @Test
  void no_cell_is_a_formula() throws Exception {
    for (String start : List.of("=", "+", "-", "@", "\t", "\r")) {
      ledger.accounts().note(start + "cmd|' /C calc'!A0", "signed-in", start + "HYPERLINK(\"x\")");
    }
    List<CsvRecord> records = csv();
    assertThat(records).hasSize(7);
    assertThat(records)
        .allSatisfy(
            each ->
                assertThat(each.getFields()).noneMatch(cell -> cell.matches("(?s)[=+@\\t\\r-].*")));
    assertThat(records.get(1).getField(2)).isEqualTo("'=cmd|' /C calc'!A0");
  }

  @Test
  void every_event_is_a_row_and_a_line_however_many_there_are() throws Exception {
    for (int i = 0; i < 2_100; i++) {
      ledger.accounts().note("user root", "signed-in", "number " + i);
    }
    assertThat(csv()).hasSize(2_101);
    StringWriter lines = new StringWriter();
    new TrailExport(ledger).json(null, lines);
    assertThat(lines.toString().lines().map(Json::tree).map(line -> line.path("seq").asLong()))
        .hasSize(2_100)
        .isSorted()
        .doesNotHaveDuplicates();
  }

  @Test
  void an_export_begins_at_its_time() throws Exception {
    ledger.accounts().note("user root", "signed-in", "before");
    clock.tick(Duration.ofHours(1));
    ledger.accounts().note("user root", "signed-in", "after");
    new TrailExport(ledger).json(clock.instant(), out);
    assertThat(out.toString()).contains("after").doesNotContain("before");
  }
}
