// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
"use strict";

// Tells a bar code reader that types from a person who types, by the pace of the keys in the field of
// the patient's number, and says so in the hidden field beside it. Only what is sure is said: a paste, a
// filled-in suggestion, a short number, a pace in between, or a scan that was edited leave it empty.
(() => {
  /** A reader sends its keys closer together than fingers can. */
  const READER_MS = 50;
  const READER_KEYS = 6;
  /** Slower than a reader is ever set to between two keys. */
  const PERSON_MS = 150;
  const PERSON_KEYS = 4;

  let pressed = null;
  let length = 0;
  /** When each character came, since the field was empty; null once something else changed it. */
  let times = null;
  let ended = false;

  const how = (field) =>
    field instanceof HTMLInputElement && field.form ? field.form.querySelector(`[data-entry-of="${field.name}"]`) : null;

  const say = (field, word) => {
    how(field).value = word ? how(field).dataset[word] || "" : "";
  };

  const middle = (gaps) => [...gaps].sort((a, b) => a - b)[Math.floor(gaps.length / 2)];
  const gaps = () => times.slice(1).map((at, i) => at - times[i]);

  document.addEventListener("keydown", (event) => {
    const field = event.target;
    if (!event.isTrusted || !how(field)) {
      return;
    }
    if (event.key === "Enter" || event.key === "Tab") {
      const all = times && !ended ? [...gaps(), event.timeStamp - times[times.length - 1]] : [];
      if (all.length >= READER_KEYS && all.every((gap) => gap <= READER_MS)) {
        say(field, "scanned");
      }
      ended = true;
    } else {
      pressed = event.repeat ? null : event.timeStamp;
    }
  }, true);

  document.addEventListener("input", (event) => {
    const field = event.target;
    if (!event.isTrusted || !how(field)) {
      return;
    }
    const now = field.value.length;
    if (now === 0 || (now === 1 && event.inputType.startsWith("insert"))) {
      times = [];
      ended = false;
      length = 0;
    }
    if (now === length + 1 && pressed !== null && times && !ended) {
      times.push(pressed);
    } else if (now > length || ended || !event.inputType.startsWith("delete")) {
      times = now === 0 ? [] : null;
    }
    pressed = null;
    length = now;
    say(field, times && times.length >= PERSON_KEYS && middle(gaps()) >= PERSON_MS ? "typed" : "");
  }, true);
})();
