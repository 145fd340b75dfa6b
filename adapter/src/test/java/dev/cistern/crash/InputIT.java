// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.crash;

import static org.assertj.core.api.Assertions.assertThat;
import static org.awaitility.Awaitility.await;

import dev.cistern.crash.history.HandedOver;
import dev.cistern.crash.history.HandedOver.Told;
import dev.cistern.crash.history.LedgerRows;
import dev.cistern.crash.history.Meant;
import dev.cistern.crash.history.Meant.Fate;
import dev.cistern.crash.load.Batch;
import dev.cistern.crash.load.FormSender;
import dev.cistern.crash.load.People;
import dev.cistern.testing.FaultyFhirServer.Fault;
import java.io.ByteArrayOutputStream;
import java.io.IOException;
import java.io.OutputStream;
import java.io.UncheckedIOException;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.nio.file.StandardCopyOption;
import java.nio.file.attribute.PosixFilePermissions;
import java.time.Clock;
import java.time.Duration;
import java.time.Instant;
import java.util.ArrayList;
import java.util.Arrays;
import java.util.List;
import java.util.Random;
import java.util.stream.Stream;
import java.util.zip.ZipEntry;
import java.util.zip.ZipOutputStream;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** Files that no careful sender would hand over in this way, and posts that come too often. */
class InputIT {
  private static final String HEADER =
      "PatNo;Date;Time;Vol;Unit;Kind;LastVoid;Voided;Set;Serial;ExamNo;User\n";
  private static final Duration PATIENCE = Duration.ofSeconds(120);
  private static final String DEVICE = "AV-0077";

  @TempDir Path site;

  private final List<HandedOver> handed = new ArrayList<>();
  private int exams;

  private Path inbox() throws IOException {
    return Files.createDirectories(site.resolve("odd"));
  }

  private Batch rows(int count) {
    StringBuilder text = new StringBuilder(HEADER);
    List<Meant> meant = new ArrayList<>();
    for (int i = 0; i < count; i++) {
      String exam = "%06d".formatted(++exams);
      text.append(
          "%s;14.03.2026;09:05:00;%d;mL;;;;;%s;%s;N4471\n"
              .formatted(People.KNOWN.get(0), 1 + exams % 900, DEVICE, exam));
      meant.add(new Meant(Fate.ARRIVES, DEVICE, exam, 0, People.KNOWN.get(0), 1 + exams % 900));
    }
    return new Batch(text.toString().getBytes(StandardCharsets.UTF_8), meant);
  }

  private static Batch held(byte[] bytes) {
    return new Batch(bytes, List.of(new Meant(Fate.HELD, "none", "none", 0, "nobody", 0)));
  }

  private void hand(String name, Batch batch) {
    handed.add(
        new HandedOver("odd", name, batch.bytes(), batch.meant(), Told.NOTHING, Instant.MAX, true));
  }

  private void drop(String name, Batch batch) throws IOException {
    hand(name, batch);
    Path writing = Files.write(site.resolve("writing"), batch.bytes());
    Files.move(writing, inbox().resolve(name), StandardCopyOption.ATOMIC_MOVE);
  }

  /** What was handed over, and whether its very bytes lie among the finished files by now. */
  private List<HandedOver> history() {
    List<byte[]> done = new ArrayList<>();
    try (Stream<Path> files = Files.list(Files.createDirectories(inbox().resolve(".done")))) {
      for (Path file : files.toList()) {
        done.add(Files.readAllBytes(file));
      }
    } catch (IOException e) {
      throw new UncheckedIOException(e);
    }
    return handed.stream()
        .map(
            each ->
                each.source().equals("odd")
                        && done.stream().anyMatch(bytes -> Arrays.equals(bytes, each.bytes()))
                    ? each.told(Told.KEPT)
                    : each)
        .toList();
  }

  private void judged(InnerScene scene, String name, String what, List<HandedOver> history)
      throws Exception {
    Verdict verdict = Verdict.on(scene.evidence(history));
    CampaignReport.add(
        new CampaignReport.Step(name, what, verdict.figures(), verdict.violations()));
    verdict.requireAll(name);
  }

  @Test
  void odd_files_end_where_people_see_them() throws Exception {
    try (InnerScene scene = InnerScene.at(site, Clock.systemUTC(), () -> Fault.NONE)) {
      drop("nothing.csv", held(new byte[0]));
      drop("zip.csv", held(zipBomb()));
      drop("one-line.csv", held("x".repeat(20_000_000).getBytes(StandardCharsets.US_ASCII)));
      drop("large.csv", rows(Campaign.count("cistern.rows", 300, 3000)));
      drop("zeros.csv", held(new byte[100_000]));
      drop("a name with blanks; and $(signs) & 'quotes' \"both\" 100%.csv", rows(1));
      drop("two\nlines\tand a tab.csv", rows(1));
      drop("-rf", rows(1));
      drop("+plus+%2e%2e%2f", rows(1));
      drop("n".repeat(251) + ".csv", rows(1));
      Batch twice = rows(2);
      drop("twice.csv", twice);
      drop("twice-again.csv", twice);
      Files.createDirectories(inbox().resolve("folder.csv"));
      Path outside = Files.writeString(site.resolve("outside.csv"), HEADER);
      Files.createSymbolicLink(inbox().resolve("link.csv"), outside);
      Files.createSymbolicLink(inbox().resolve("loop.csv"), inbox().resolve("loop.csv"));
      Tool.run("mkfifo", inbox().resolve("pipe.csv").toString());
      Tool.run(
          "sh", "-c", "printf '%s' > \"$0/$(printf 'bytes-\\377-\\376.csv')\"", inbox().toString());
      scene.awaitQuiet(this::history);
      assertThat(outside).exists();
      assertThat(Files.isSymbolicLink(inbox().resolve("link.csv"))).isTrue();
      judged(
          scene,
          "odd files",
          "Empty, very large, one endless line, a zip that unpacks to 200 MB, names with line ends,"
              + " quotes, signs and 255 characters, links, a pipe, a folder, a name that is no"
              + " text.",
          history());
    }
  }

  private static byte[] zipBomb() throws IOException {
    ByteArrayOutputStream bytes = new ByteArrayOutputStream();
    try (ZipOutputStream zip = new ZipOutputStream(bytes)) {
      zip.putNextEntry(new ZipEntry("day.csv"));
      for (int i = 0; i < 200; i++) {
        zip.write(new byte[1_000_000]);
      }
    }
    return bytes.toByteArray();
  }

  @Test
  void a_file_that_is_written_slowly_is_taken_whole() throws Exception {
    try (InnerScene scene = InnerScene.at(site, Clock.systemUTC(), () -> Fault.NONE)) {
      Batch batch = rows(40);
      hand("slow.csv", batch);
      try (OutputStream out = Files.newOutputStream(inbox().resolve("slow.csv"))) {
        for (int from = 0; from < batch.bytes().length; from += 150) {
          out.write(batch.bytes(), from, Math.min(150, batch.bytes().length - from));
          Thread.sleep(200); // a slow line
        }
      }
      scene.awaitQuiet(this::history);
      judged(scene, "slow file", "Written in its place, a hundred bytes now and then.", history());
    }
  }

  /** The sender itself takes versions away; each that is kept is one whole version. */
  @Test
  void a_file_that_is_replaced_while_it_is_read_is_never_a_mixture() throws Exception {
    int versions = Campaign.count("cistern.replaced", 20, 200);
    Random random = new Random(Campaign.SEED);
    try (InnerScene scene = InnerScene.at(site, Clock.systemUTC(), () -> Fault.NONE)) {
      for (int i = 0; i < versions; i++) {
        drop("same.csv", rows(200 + random.nextInt(200)));
        Thread.sleep(random.nextInt(10) == 0 ? 1600 : random.nextInt(120)); // settled or not
      }
      await()
          .atMost(PATIENCE)
          .until(
              () ->
                  Files.notExists(inbox().resolve("same.csv"))
                      && LedgerRows.quiet(FhirRecord.ledger(scene.data())));
      List<HandedOver> history =
          history().stream()
              .map(each -> each.told() == Told.KEPT ? each : each.told(Told.NOT_KEPT))
              .toList();
      assertThat(history).anyMatch(each -> each.told() == Told.KEPT);
      judged(
          scene,
          "replaced file",
          "A file is replaced by another of its name again and again while it is looked at and"
              + " read.",
          history);
    }
  }

  @Test
  void a_post_that_comes_a_hundred_times_at_once_is_one_result() throws Exception {
    try (InnerScene scene = InnerScene.at(site, Clock.systemUTC(), () -> Fault.NONE)) {
      FormSender sender =
          new FormSender(scene.form(), new Random(Campaign.SEED), Clock.systemUTC(), () -> true);
      for (int i = 1; i <= 3; i++) {
        String body =
            "patient=%s&measured=2026-03-14T09:05&volume=142&purpose=pre-void&scanner=AV-7&exam=%d"
                .formatted(People.KNOWN.get(1), i);
        Meant meant =
            new Meant(Fate.ARRIVES, "AV-7", String.valueOf(i), 0, People.KNOWN.get(1), 142);
        sender.send(
            "key-" + i, new Batch(body.getBytes(StandardCharsets.UTF_8), List.of(meant)), 100);
      }
      assertThat(sender.statuses()).isSubsetOf(200, 201);
      scene.awaitQuiet(sender::history);
      assertThat(LedgerRows.read(FhirRecord.ledger(scene.data())).submissions()).hasSize(3);
      judged(
          scene,
          "the same post a hundred times",
          "Three posts, each a hundred times at once under one key.",
          sender.history());
    }
  }

  @Test
  void a_file_that_may_not_be_read_holds_up_no_other() throws Exception {
    String name = "no permission";
    Tool.require(
        name,
        "setpriv",
        "--reuid=65534",
        "--regid=65534",
        "--clear-groups",
        "test",
        "-r",
        AdapterProcess.jar().toString());
    try (Scene scene = Scene.at(site, true, () -> Fault.NONE)) {
      // Looking at what is finished must not make the folder: it would be ours, not the adapter's.
      Files.createDirectories(inbox().resolve(".done"));
      Files.createFile(scene.adapter.log());
      Tool.must("chown", "-R", "65534:65534", site.toString());
      Batch secret = rows(2);
      drop("secret.csv", secret);
      Path locked = inbox().resolve("secret.csv");
      Files.setPosixFilePermissions(locked, PosixFilePermissions.fromString("rw-------"));
      drop("open.csv", rows(2));
      scene.adapter.start(List.of("setpriv", "--reuid=65534", "--regid=65534", "--clear-groups"));
      scene.awaitReady();
      await().atMost(PATIENCE).until(() -> history().get(1).told() == Told.KEPT);
      assertThat(history().get(0).told()).isEqualTo(Told.NOTHING);
      assertThat(locked).exists();
      // The other file may be taken before this one is tried.
      await()
          .atMost(PATIENCE)
          .until(
              () ->
                  Files.readString(scene.adapter.log())
                      .contains("a file of intake-odd stays where it is"));
      Files.setPosixFilePermissions(locked, PosixFilePermissions.fromString("rw-r--r--"));
      scene.awaitQuiet(this::history);
      assertThat(scene.adapter.stop()).isTrue();
      Verdict verdict = scene.judge(history());
      CampaignReport.add(
          new CampaignReport.Step(
              name,
              "The adapter runs as a user who may not read a file; later it may.",
              verdict.figures(),
              verdict.violations()));
      verdict.requireAll(name);
    }
  }
}
