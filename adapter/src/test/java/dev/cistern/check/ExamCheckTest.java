// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.check;

import static org.assertj.core.api.Assertions.assertThat;

import dev.cistern.scan.Aim;
import dev.cistern.scan.Answer;
import dev.cistern.scan.Confounder;
import dev.cistern.scan.ExamSetting;
import dev.cistern.scan.Sex;
import org.junit.jupiter.api.Test;
import org.junit.jupiter.params.ParameterizedTest;
import org.junit.jupiter.params.provider.CsvSource;
import org.junit.jupiter.params.provider.EnumSource;

class ExamCheckTest {

  /** After hysterectomy, the setting used for men: a clinic's policy 12.53 (2014). */
  @ParameterizedTest
  @CsvSource({
    "MALE, UTERUS_ABSENT, UNKNOWN, ''",
    "MALE, UTERUS_PRESENT, UNKNOWN, setting-against-sex",
    "FEMALE, UTERUS_PRESENT, NO, ''",
    "FEMALE, UTERUS_PRESENT, UNKNOWN, ''",
    "FEMALE, UTERUS_PRESENT, YES, setting-against-hysterectomy",
    "FEMALE, UTERUS_ABSENT, YES, ''",
    "FEMALE, UTERUS_ABSENT, NO, setting-against-hysterectomy",
    "FEMALE, UTERUS_ABSENT, UNKNOWN, hysterectomy-unknown",
    "FEMALE, SMALL_CHILD, UNKNOWN, ''",
    "OTHER, UTERUS_PRESENT, UNKNOWN, ''",
    "OTHER, UTERUS_PRESENT, YES, setting-against-hysterectomy",
    "UNKNOWN, UTERUS_ABSENT, UNKNOWN, ''"
  })
  void the_setting_says_whether_a_uterus_lies_in_the_beam(
      Sex sex, ExamSetting setting, Answer hysterectomy, String codes) {
    assertThat(
            String.join(
                " ",
                Measured.residual().sex(sex).setting(setting).hysterectomy(hysterectomy).codes()))
        .isEqualTo(codes);
  }

  /** Under 122 cm (48 in = 121.92 cm) and under 27 kg (60 lb = 27.2 kg): common practice. */
  @ParameterizedTest
  @CsvSource({
    "SMALL_CHILD, 121, 26, ''",
    "SMALL_CHILD, 122, 26, too-large-for-small-child",
    "SMALL_CHILD, 121, 27, too-large-for-small-child",
    "SMALL_CHILD, 140, , too-large-for-small-child",
    "SMALL_CHILD, , 40, too-large-for-small-child",
    "SMALL_CHILD, , , ''",
    "UTERUS_ABSENT, 121.92, 26.9, small-child-not-set",
    "UTERUS_ABSENT, 122, 26, ''",
    "UTERUS_ABSENT, 121, 27.2, ''",
    "UTERUS_ABSENT, 121, , ''",
    "UTERUS_ABSENT, , 26, ''"
  })
  void the_small_child_setting_is_for_small_children(
      ExamSetting setting, String height, String weight, String codes) {
    assertThat(String.join(" ", Measured.residual().setting(setting).body(height, weight).codes()))
        .isEqualTo(codes);
  }

  @Test
  void the_limits_of_the_small_child_setting_are_the_policys() {
    assertThat(
            Measured.residual()
                .setting(ExamSetting.SMALL_CHILD)
                .body("115", "20")
                .under("limits: {smallChildHeight: 110}")
                .message("too-large-for-small-child"))
        .contains("110 cm (policy alder-vale, version 3)");
  }

  @Test
  void what_spoils_a_scan_is_a_warning() {
    assertThat(Measured.residual().aim(Aim.OFF_CENTRE).codes()).containsExactly("aim-off-centre");
    assertThat(Measured.residual().aim(Aim.CENTRED).codes()).isEmpty();
    assertThat(Measured.residual().pubicShadow(Answer.YES).codes()).containsExactly("pubic-shadow");
    assertThat(Measured.residual().pubicShadow(Answer.NO).codes()).isEmpty();
    assertThat(Measured.residual().accepted(Answer.NO).codes())
        .containsExactly("scan-not-accepted");
    assertThat(Measured.residual().accepted(Answer.YES).codes()).isEmpty();
  }

  /**
   * Zhu et al., Transl Androl Urol 2021 (ascites); Can Fam Physician 2009;55:163 (cysts);
   * PMC8141281 (obesity); Theisen 2019 (prolapse); the rest is common practice.
   */
  @ParameterizedTest
  @EnumSource(Confounder.class)
  void what_is_known_to_spoil_a_reading_is_named(Confounder confounder) {
    Measured measured = Measured.residual().confounders(confounder);
    if (confounder == Confounder.CATHETER_IN_PLACE) {
      assertThat(measured.codes()).containsExactly("catheter-in-place");
    } else {
      assertThat(measured.message("confounder")).endsWith(": " + confounder.code() + ".");
    }
  }

  @Test
  void several_confounders_are_one_finding() {
    assertThat(
            Measured.residual()
                .confounders(Confounder.ASCITES, Confounder.CATHETER_IN_PLACE, Confounder.SCAR)
                .codes())
        .containsExactly("confounder", "catheter-in-place");
  }
}
