// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.route;

import static org.assertj.core.api.Assertions.assertThat;

import com.nimbusds.jose.EncryptionMethod;
import com.nimbusds.jose.JWEAlgorithm;
import com.nimbusds.jose.JWEHeader;
import com.nimbusds.jose.JWEObject;
import com.nimbusds.jose.Payload;
import com.nimbusds.jose.crypto.RSAEncrypter;
import com.nimbusds.jose.jwk.RSAKey;
import dev.cistern.bedside.Seal;
import dev.cistern.json.Json;
import java.net.http.HttpResponse;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.List;
import java.util.concurrent.ExecutorService;
import java.util.concurrent.Executors;
import java.util.concurrent.Future;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.api.io.TempDir;

/** What the page sends, sent by hand: many times at once, and sealed. */
class BedsidePostsTest {
  private static final String FORM =
      "idempotencyKey=tap-77&patient=9990000018&measured=2026-03-14T12%3A05&volume=156"
          + "&purpose=pre-void&scanner=WL-009&exam=77";

  @TempDir Path folder;

  private static String sealed(String key, String form) throws Exception {
    JWEObject object =
        new JWEObject(
            new JWEHeader(JWEAlgorithm.RSA_OAEP_256, EncryptionMethod.A256GCM), new Payload(form));
    object.encrypt(new RSAEncrypter(RSAKey.parse(key)));
    return object.serialize();
  }

  @Test
  void a_hundred_posts_of_one_form_at_once_are_one_entry() throws Exception {
    ExecutorService hands = Executors.newFixedThreadPool(20);
    try (Site site = Site.start(folder, "9990000018")) {
      List<Future<HttpResponse<String>>> posts = new ArrayList<>();
      for (int i = 0; i < 100; i++) {
        posts.add(hands.submit(() -> site.post("bedside", Site.TYPE, null, FORM)));
      }
      List<Integer> statuses = new ArrayList<>();
      for (Future<HttpResponse<String>> post : posts) {
        statuses.add(post.get().statusCode());
      }
      assertThat(statuses).containsOnly(200, 201).containsOnlyOnce(201).hasSize(100);
      assertThat(site.proof().sums()).extracting(s -> s.entries()).containsOnlyOnce(1L);
      assertThat(site.proof().holds()).isTrue();
    } finally {
      hands.shutdownNow();
    }
  }

  @Test
  void what_waited_sealed_is_the_same_result_as_what_was_sent_plain() throws Exception {
    try (Site site = Site.start(folder, "9990000018")) {
      String key = Seal.in(site.plant.settings().data().resolve("bedside-key.jwk")).publicKey();
      HttpResponse<String> plain = site.post("bedside", Site.TYPE, null, FORM);
      HttpResponse<String> late = site.post("bedside", Seal.TYPE, null, sealed(key, FORM));
      assertThat(late.statusCode()).isEqualTo(200);
      assertThat(Json.tree(late.body()).path("entry"))
          .isEqualTo(Json.tree(plain.body()).path("entry"));

      String bad = FORM.replace("tap-77", "tap-78").replace("volume=156", "volume=lots");
      HttpResponse<String> held = site.post("bedside", Seal.TYPE, null, sealed(key, bad));
      assertThat(held.statusCode()).isEqualTo(201);
      assertThat(Json.tree(held.body()).path("state").asText()).isEqualTo("rejected");

      String spoilt = sealed(key, FORM).replaceFirst("\\.[^.]*$", ".AAAAAAAAAAAAAAAAAAAAAA");
      assertThat(site.post("bedside", Seal.TYPE, null, spoilt).statusCode()).isEqualTo(400);
      assertThat(site.post("bedside", Seal.TYPE, null, "no seal").statusCode()).isEqualTo(400);
    }
  }
}
