// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.mapping;

import static org.assertj.core.api.Assertions.assertThat;

import com.fasterxml.jackson.databind.ObjectMapper;
import com.fasterxml.jackson.databind.node.ArrayNode;
import dev.cistern.scan.Field;
import dev.cistern.scan.RawEntry;
import java.nio.charset.StandardCharsets;
import java.util.ArrayList;
import java.util.List;
import java.util.Random;
import java.util.concurrent.Callable;
import java.util.concurrent.ExecutorService;
import java.util.concurrent.Executors;
import java.util.concurrent.Future;
import org.junit.jupiter.api.Test;

/** What a simple writer writes is read back, whatever the texts; and by several threads at once. */
class RoundTripTest {
  private static final String[] PARTS = {
    "142", "ä", "€", "😀", "<", ">", "&", "\"", "'", "|", "^", "~", "\\", "&amp;", "a b", "]]>",
    "{", "\\E\\", ";"
  };

  private static final String FIELDS =
      "examId: { from: %s }, note: { from: %s }, volume: { from: %s, unit: mL }";

  private static Mapping mapping(String input, String... sources) {
    return Mapping.parse(
        "m.yaml",
        "mapping: m\ninput: { "
            + input
            + " }\nfields: { "
            + FIELDS.formatted((Object[]) sources)
            + " }");
  }

  private static final Mapping JSON = mapping("format: json", "id", "n.text", "v");
  private static final Mapping XML =
      mapping("format: xml, records: /x/s", "\"@id\"", "n/text", "v");
  private static final Mapping HL7 =
      mapping("format: hl7v2, records: { where: { OBX-3: V } }", "OBX-4", "NTE-3", "OBX-5");

  private record Written(String id, String note, String volume) {
    static Written random(Random random, int number) {
      // Not two quotation marks alone: in HL7 v2 they stand for nothing.
      StringBuilder note = new StringBuilder("n");
      for (int i = random.nextInt(6); i >= 0; i--) {
        note.append(PARTS[random.nextInt(PARTS.length)]);
      }
      return new Written(
          "E" + number, note.toString(), random.nextInt(1000) + "." + random.nextInt(10));
    }
  }

  private static List<Written> some(long seed) {
    Random random = new Random(seed);
    List<Written> written = new ArrayList<>();
    for (int i = random.nextInt(5); i >= 0; i--) {
      written.add(Written.random(random, i));
    }
    return written;
  }

  private static String json(List<Written> all) {
    ArrayNode list = new ObjectMapper().createArrayNode();
    for (Written w : all) {
      var object = list.addObject().put("id", w.id());
      object.putObject("n").put("text", w.note());
      object.put("v", new java.math.BigDecimal(w.volume()));
    }
    return list.toString();
  }

  private static String xml(List<Written> all) {
    StringBuilder text = new StringBuilder("<x>");
    for (Written w : all) {
      text.append("<s id='").append(w.id()).append("'><n><text>");
      text.append(w.note().replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;"));
      text.append("</text></n>\n<v>").append(w.volume()).append("</v></s>");
    }
    return text.append("</x>").toString();
  }

  /** Escaped as HL7 v2.5.1, section 2.7 says. */
  private static String hl7(List<Written> all) {
    StringBuilder text = new StringBuilder("MSH|^~\\&|A|B|C|D|||ORU^R01|1|P|2.5.1\rOBR|1\r");
    for (Written w : all) {
      String note =
          w.note()
              .replace("\\", "\\E\\")
              .replace("|", "\\F\\")
              .replace("^", "\\S\\")
              .replace("~", "\\R\\")
              .replace("&", "\\T\\");
      text.append("OBX|1|NM|V|" + w.id() + "|" + w.volume() + "|mL|||||F\rNTE|1||" + note + "\r");
      text.append("OBX|2|NM|OTHER|0|1|mL|||||F\r");
    }
    return text.toString();
  }

  private static void assertRead(Mapping mapping, String text, List<Written> all, long seed) {
    List<RawEntry> entries = Decoded.all(mapping, text);
    assertThat(entries).as("seed %d", seed).hasSameSizeAs(all);
    for (int i = 0; i < all.size(); i++) {
      RawEntry entry = entries.get(i);
      assertThat(entry.findings()).as("seed %d", seed).isEmpty();
      assertThat(Decoded.text(entry, Field.EXAM_ID)).as("seed %d", seed).isEqualTo(all.get(i).id());
      assertThat(Decoded.text(entry, Field.NOTE)).as("seed %d", seed).isEqualTo(all.get(i).note());
      assertThat(Decoded.text(entry, Field.VOLUME))
          .as("seed %d", seed)
          .isEqualTo(all.get(i).volume());
    }
  }

  @Test
  void what_is_written_is_read_back() {
    for (long seed = 0; seed < 300; seed++) {
      List<Written> all = some(seed);
      assertRead(JSON, json(all), all, seed);
      assertRead(XML, xml(all), all, seed);
      assertRead(HL7, hl7(all), all, seed);
    }
  }

  @Test
  void each_place_leads_back_to_its_entry() {
    for (long seed = 0; seed < 50; seed++) {
      List<Written> all = some(seed);
      Decoded.assertReadsAgain(JSON, json(all).getBytes(StandardCharsets.UTF_8), null);
      Decoded.assertReadsAgain(XML, xml(all).getBytes(StandardCharsets.UTF_8), null);
      Decoded.assertReadsAgain(HL7, hl7(all).getBytes(StandardCharsets.UTF_8), null);
    }
  }

  @Test
  void one_mapping_serves_several_threads_at_once() throws Exception {
    ExecutorService threads = Executors.newFixedThreadPool(4);
    try {
      List<Callable<Void>> tasks = new ArrayList<>();
      for (long seed = 0; seed < 120; seed++) {
        long own = seed;
        tasks.add(
            () -> {
              List<Written> all = some(own);
              assertRead(JSON, json(all), all, own);
              assertRead(XML, xml(all), all, own);
              assertRead(HL7, hl7(all), all, own);
              return null;
            });
      }
      for (Future<Void> done : threads.invokeAll(tasks)) {
        assertThat(done.get()).isNull();
      }
    } finally {
      threads.shutdownNow();
    }
  }
}
