// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
"use strict";

// The form at the bedside. Without this script it is an ordinary form. With it: a draft survives a
// reload, a result that cannot be sent waits on the device, sealed for the server alone, and a bar
// code that ends in Enter goes on to the next question instead of sending the form.
(() => {
  const DRAFT_MINUTES = 30;
  const PATIENCE = 15000;
  const TRY_EVERY = 20000;
  const LONG_HOURS = 12;
  const OUTBOX = "cistern-outbox";
  const FORM_TYPE = "application/x-www-form-urlencoded";
  const SEALED_TYPE = "application/jose";

  /** How the bar names what is still needed. */
  const NAMES = {
    patientId: "patient number",
    purpose: "passing urine",
    volume: "volume",
    measuredAt: "time of the scan",
  };

  /** How far the server's clock is ahead of this device's, in milliseconds. */
  let ahead = 0;
  /** Where this device cannot seal: results that wait as long as this page stays open. */
  const inMemory = [];
  const news = [];
  let flushing = false;
  /** Why the server takes nothing, although it answers. */
  let held = "";

  const $ = (css, within = document) => within.querySelector(css);
  const all = (css, within = document) => [...within.querySelectorAll(css)];
  const form = () => $("#bedside");

  const make = (name, text, attributes = {}) => {
    const element = document.createElement(name);
    element.textContent = text;
    for (const [key, value] of Object.entries(attributes)) {
      element.setAttribute(key, value);
    }
    return element;
  };

  const button = (text, act, kind = "") => {
    const element = make("button", text, {type: "button", class: kind});
    element.addEventListener("click", act);
    return element;
  };

  const freshKey = () => {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    return [...bytes].map((b) => b.toString(16).padStart(2, "0")).join("");
  };

  const clock = (millis) => {
    const at = new Date(millis);
    const time = at.toLocaleTimeString("en-GB", {hour: "2-digit", minute: "2-digit"});
    return at.toDateString() === new Date().toDateString()
      ? time
      : at.getDate() + " " + at.toLocaleString("en-GB", {month: "short"}) + ", " + time;
  };

  // --- storage; a browser may forbid it ---

  const read = (store, key) => {
    try {
      return JSON.parse(store().getItem(key));
    } catch {
      return null;
    }
  };

  const write = (store, key, value) => {
    try {
      if (value === null) {
        store().removeItem(key);
      } else {
        store().setItem(key, JSON.stringify(value));
      }
      return true;
    } catch {
      return false;
    }
  };

  const tab = () => window.sessionStorage;
  const device = () => window.localStorage;

  // --- the draft: this tab's, for half an hour ---

  const draftKey = () => "cistern-draft-" + form().dataset.source;

  const saveDraft = () => {
    const values = [...new FormData(form())].filter(([name]) => name !== "idempotencyKey");
    const typed = values.some(([name, value]) => value !== "" && !presets().includes(name));
    write(tab, draftKey(), typed ? {at: Date.now(), key: keyField().value, values} : null);
  };

  const dropDraft = () => write(tab, draftKey(), null);
  const keyField = () => $("[name=idempotencyKey]", form());
  const presets = () => (form().dataset.presets || "").split(" ");

  const restoreDraft = () => {
    const draft = read(tab, draftKey());
    if (!draft || Date.now() - draft.at > DRAFT_MINUTES * 60000) {
      dropDraft();
      return false;
    }
    keyField().value = draft.key;
    for (const input of all("input[type=radio], input[type=checkbox]", form())) {
      input.checked = draft.values.some(([n, v]) => n === input.name && v === input.value);
    }
    for (const [name, value] of draft.values) {
      const input = form().elements[name];
      if (input instanceof HTMLElement && !["radio", "checkbox"].includes(input.type)) {
        input.value = value;
      }
    }
    const box = say("notice wait");
    box.append(
      make("p", "These answers were typed at " + clock(draft.at) + ", before the page was loaded again. " +
        "Go on only if it is the same patient and the same scan."),
      button("Empty the form", () => empty(), "grave"));
    return true;
  };

  const applyPresets = () => {
    const query = new URLSearchParams(window.location.search);
    for (const name of presets().filter((n) => n && query.has(n))) {
      form().elements[name].value = query.get(name);
    }
  };

  const empty = (message) => {
    dropDraft();
    form().reset();
    all("input:not([type=radio], [type=checkbox], [type=hidden]), input.entry, textarea", form()).forEach((i) => {
      i.value = "";
    });
    all("input:checked", form()).forEach((i) => (i.checked = false));
    // "Not stated" is the only answer that is there from the start, and never to the void.
    all("fieldset:not(.purpose) input[type=radio][value='']", form()).forEach((i) => (i.checked = true));
    all("details", form()).forEach((fold) => (fold.open = false));
    all(".found", form()).forEach((f) => f.replaceChildren());
    all("[aria-invalid]", form()).forEach((f) => f.removeAttribute("aria-invalid"));
    applyPresets();
    keyField().value = freshKey();
    $("#answer").replaceChildren();
    if (message) {
      say("notice").append(make("p", message));
    }
    showWhatMatters();
    $("input:not([type=hidden])", form()).focus({preventScroll: true});
  };

  const say = (kind) => {
    const box = make("div", "", {class: kind, tabindex: "-1"});
    $("#answer").replaceChildren(box);
    return box;
  };

  // --- what is asked depends on what was answered ---

  const word = (field) => {
    const chosen = $(`[data-field=${field}] input:checked`, form());
    return chosen ? chosen.dataset.word : null;
  };

  const show = (element, on) => {
    element.hidden = !on;
    all("input, textarea", element).forEach((input) => (input.disabled = !on));
  };

  const showWhatMatters = () => {
    if ($("[data-field=purpose]", form())) {
      all(".after-void", form()).forEach((each) => show(each, word("purpose") === "post-void"));
    }
    const removed = $("[data-field=hysterectomy]", form());
    if (removed && $("[data-field=examSetting]", form())) {
      show(removed, ["uterus-absent", "uterus-present"].includes(word("examSetting")));
    }
    for (const fold of all("details", form())) {
      const count = all("[data-field]", fold).filter(isAnswered).length;
      $(".answered", fold).textContent = count === 0 ? "" : `(${count} answered)`;
    }
    readBack();
  };

  const isAnswered = (field) =>
    all("input:not([type=hidden]), textarea", field).some((input) =>
      ["radio", "checkbox"].includes(input.type) ? input.checked && input.value !== "" : input.value.trim() !== "");

  /** What would be sent, in one line above the button; or what it still needs. */
  const readBack = () => {
    const line = $("#readback");
    const open = all("[data-field]", form()).filter(
      (field) => $("[required]:not([disabled])", field) && !isAnswered(field) && !$("input:checked", field));
    line.hidden = false;
    line.className = open.length === 0 ? "ready" : "";
    if (open.length > 0) {
      line.textContent = "Still needed: " + open.map((field) => NAMES[field.dataset.field] || questionOf(field)).join(", ");
      return;
    }
    const chosen = $("[data-field=purpose] input:checked", form());
    const volume = $("[data-field=volume] input", form());
    const unit = $("[data-field=volume] .unit", form());
    line.textContent = [
      all("[data-field=patientId] input:not([type=hidden])", form()).map((i) => i.value.trim()).join(" "),
      chosen ? chosen.parentElement.textContent.trim().toLowerCase() : "",
      volume && volume.value.trim() !== "" ? volume.value.trim() + (unit ? " " + unit.textContent : "") : "no volume",
    ].filter(Boolean).join(" · ");
  };

  const questionOf = (field) => $("label, legend", field).firstChild.textContent.trim();

  // --- times ---

  const parts = (options) =>
    Object.fromEntries(
      new Intl.DateTimeFormat("en-GB", {timeZone: form().dataset.zone, hourCycle: "h23", ...options})
        .formatToParts(new Date(Date.now() + ahead))
        .map((part) => [part.type, part.value]));

  const now = (input) => {
    const p = parts({year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit"});
    input.value = `${p.year}-${p.month}-${p.day}T${p.hour}:${p.minute}`;
    input.dispatchEvent(new Event("input", {bubbles: true}));
  };

  const prepareTimes = () => {
    for (const input of all("[data-control=time]", form())) {
      const offset = parts({timeZoneName: "longOffset"}).timeZoneName.replace("GMT", "UTC");
      const hint = document.getElementById(input.id + "-hint");
      hint.textContent = hint.textContent.replace(/\.$/, ", now " + offset + ".");
      const press = input.parentElement.querySelector(".now");
      press.hidden = false;
      press.setAttribute("aria-label", "Now: " + $(`label[for="${input.id}"]`).firstChild.textContent.trim());
      press.addEventListener("click", () => now(input));
    }
  };

  const askTheTime = async () => {
    try {
      const asked = Date.now();
      const answer = await fetch("/health/live", {cache: "no-store", signal: AbortSignal.timeout(PATIENCE)});
      const server = Date.parse(answer.headers.get("Date"));
      const difference = server + 500 - (asked + Date.now()) / 2;
      if (Math.abs(difference) > 60000) {
        ahead = difference;
        const minutes = Math.round(Math.abs(difference) / 60000);
        $("#clock").textContent = `The clock of this device is ${minutes} min ${difference > 0 ? "slow" : "fast"}; “Now” takes the server’s time. Have the clock set.`;
        $("#clock").hidden = false;
      }
    } catch {
      render();
    }
  };

  // --- bar codes and the keyboard ---

  /** Leaves out the symbology identifier (ISO/IEC 15424), and the GS1 identifier of a recipient (8018). */
  const cleaned = (text) => {
    const code = /^\]([A-Za-z][0-9A-Za-z])(.*)$/s.exec(text);
    if (!code) {
      return null;
    }
    const data = code[2].replace(/^\u001d/, "");
    const recipient = ["C1", "d2", "Q3", "e0"].includes(code[1]) && /^8018(\d{18})$/.exec(data);
    return recipient ? {left: "]" + code[1] + "8018", data: recipient[1]} : {left: "]" + code[1], data};
  };

  const clean = (input) => {
    const code = input.dataset.control === "barcode" ? cleaned(input.value) : null;
    if (code) {
      input.value = code.data;
      document.getElementById(input.id + "-wrong").replaceChildren(
        make("p", `The scanner put ${code.left} in front, which names the kind of bar code. It was left out.`, {class: "hint"}));
      saveDraft();
    }
  };

  const stops = () => {
    const seen = new Set();
    return all("input:not([type=hidden]), textarea, #send", form()).filter((each) => {
      const group = each.type === "radio" ? each.name : null;
      if (each.disabled || each.closest("[hidden], details:not([open])") || (group && seen.has(group))) {
        return false;
      }
      seen.add(group);
      return true;
    });
  };

  const goOn = (from) => {
    const list = stops();
    const here = list.findIndex((each) => each === from || (from.type === "radio" && each.name === from.name));
    (list[here + 1] || $("#send")).focus();
  };

  // --- what is missing ---

  const missing = () => {
    const found = [];
    for (const field of all("[data-field]", form())) {
      const input = $("[required]:not([disabled])", field);
      const line = $("input:not([type=radio], [type=checkbox])", field);
      const group = field.tagName === "FIELDSET";
      const id = group ? field.id : line && line.id;
      const question = questionOf(field);
      if (line && line.validity.badInput) {
        found.push({id, text: question + ": the date or time is not complete."});
      } else if (input && (group ? !$("input:checked", field) : input.value.trim() === "")) {
        found.push({id, text: question + ": this must be answered."});
      }
    }
    return found;
  };

  const showMissing = (found) => {
    all(".found", form()).forEach((f) => f.replaceChildren());
    all("[aria-invalid]", form()).forEach((f) => f.removeAttribute("aria-invalid"));
    const box = say("errors");
    box.setAttribute("role", "alert");
    const list = make("ul", "");
    for (const each of found) {
      const item = make("li", "");
      item.append(make("a", each.text, {href: "#" + each.id}));
      list.append(item);
      document.getElementById(each.id + "-wrong").replaceChildren(make("p", each.text, {class: "wrong"}));
      document.getElementById(each.id).setAttribute("aria-invalid", "true");
      const fold = document.getElementById(each.id).closest("details");
      if (fold) {
        fold.open = true;
      }
    }
    box.append(make("h2", "Not sent yet"), list);
    box.focus();
  };

  // --- sending ---

  const post = (source, type, body, accept) =>
    fetch("/forms/" + source + (form() ? new URL(form().action).search : ""), {
      method: "POST",
      headers: {"Content-Type": type, Accept: accept},
      body,
      signal: AbortSignal.timeout(PATIENCE),
    });

  const submit = async () => {
    const send = $("#send");
    if (send.disabled) {
      return; // the second tap
    }
    all("[data-control=barcode]", form()).forEach(clean);
    const found = missing();
    if (found.length > 0) {
      showMissing(found);
      return;
    }
    send.disabled = true;
    send.textContent = "Sending …";
    const body = new URLSearchParams(new FormData(form())).toString();
    let answer = null;
    let page = "";
    try {
      answer = await post(form().dataset.source, FORM_TYPE, body, "text/html");
      page = await answer.text();
    } catch {
      answer = null; // whether it arrived is not known; sent again, it is the same result
    }
    if (answer === null || answer.status >= 500 || answer.status === 429) {
      await keep(body);
    } else if (!(answer.headers.get("Content-Type") || "").startsWith("text/html")) {
      refuse("The result is NOT kept; what you typed is still here. " + said(page, answer.status));
    } else {
      swap(answer, page);
    }
    if ($("#send")) {
      $("#send").disabled = false;
      $("#send").textContent = "Send this result";
    }
  };

  const said = (text, status) => {
    try {
      return JSON.parse(text).error;
    } catch {
      return "The server answered " + status + ".";
    }
  };

  const refuse = (text) => {
    const box = say("errors");
    box.setAttribute("role", "alert");
    box.append(make("h2", "Not kept"), make("p", text));
    box.focus();
  };

  /** The server's page says what became of it; it takes this page's place. */
  const swap = (answer, page) => {
    const next = new DOMParser().parseFromString(page, "text/html");
    if (answer.ok) {
      dropDraft();
    }
    document.title = next.title;
    $("main").replaceWith(document.adoptNode($("main", next)));
    if (form()) {
      start();
      saveDraft();
    }
    ($(".errors") || $("main")).focus();
    window.scrollTo(0, 0);
    render();
  };

  // --- what waits on the device ---

  const sealable = () => window.isSecureContext && crypto.subtle && form() && form().dataset.seal;
  const base64 = (bytes) =>
    btoa(String.fromCharCode(...new Uint8Array(bytes))).replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "");

  /** A JWE (RFC 7516) that only the server can open: RSA-OAEP-256, A256GCM. */
  const seal = async (text) => {
    const jwk = JSON.parse(form().dataset.seal);
    const utf8 = new TextEncoder();
    const header = base64(utf8.encode(JSON.stringify({alg: "RSA-OAEP-256", enc: "A256GCM", kid: jwk.kid})));
    const forServer = await crypto.subtle.importKey("jwk", {kty: jwk.kty, n: jwk.n, e: jwk.e}, {name: "RSA-OAEP", hash: "SHA-256"}, false, ["encrypt"]);
    const once = await crypto.subtle.generateKey({name: "AES-GCM", length: 256}, true, ["encrypt"]);
    const iv = crypto.getRandomValues(new Uint8Array(12));
    const locked = new Uint8Array(await crypto.subtle.encrypt({name: "AES-GCM", iv, additionalData: utf8.encode(header)}, once, utf8.encode(text)));
    const key = await crypto.subtle.encrypt({name: "RSA-OAEP"}, forServer, await crypto.subtle.exportKey("raw", once));
    const cut = locked.length - 16;
    return [header, base64(key), base64(iv), base64(locked.slice(0, cut)), base64(locked.slice(cut))].join(".");
  };

  const onDevice = () => read(device, OUTBOX) || [];
  const waiting = () => [...onDevice(), ...inMemory];

  const change = (id, act) => {
    const at = inMemory.findIndex((item) => item.id === id);
    if (at >= 0) {
      inMemory.splice(at, 1, ...act(inMemory[at]));
    } else {
      write(device, OUTBOX, onDevice().flatMap((item) => (item.id === id ? act(item) : [item])));
    }
  };

  const keep = async (body) => {
    const exam = $("[data-field=examId] input", form());
    const item = {
      id: keyField().value,
      source: form().dataset.source,
      at: Date.now(),
      exam: exam ? exam.value : "",
      state: "waiting",
    };
    let sealed = false;
    if (sealable()) {
      try {
        const list = onDevice().filter((each) => each.id !== item.id);
        sealed = write(device, OUTBOX, [...list, {...item, type: SEALED_TYPE, body: await seal(body)}]);
      } catch {
        sealed = false;
      }
    }
    if (!sealed) {
      inMemory.push({...item, type: FORM_TYPE, body});
    }
    const exams = item.exam ? ", exam " + item.exam : "";
    empty();
    const box = say("notice wait");
    box.setAttribute("role", "alert");
    box.append(
      make("h2", "Not kept yet: no connection"),
      make("p", `The result of ${clock(item.at)}${exams} waits ${sealed ? "on this device" : "in this page"} and is sent as soon as the server can be reached. Keep the paper record until then.`));
    if (!sealed) {
      box.append(make("p", "This connection is not encrypted, so nothing may be stored on the device: leave this page open."));
    }
    box.focus();
    window.scrollTo(0, 0);
    render();
  };

  const flush = async () => {
    if (flushing) {
      return;
    }
    flushing = true;
    for (const item of waiting().filter((each) => each.state === "waiting")) {
      let answer;
      let body;
      try {
        answer = await post(item.source, item.type, item.body, "application/json");
        body = await answer.json();
      } catch {
        break;
      }
      if ([401, 403].includes(answer.status)) {
        held = body.error;
      }
      if (answer.status >= 500 || [401, 403, 429].includes(answer.status)) {
        break;
      }
      held = "";
      const name = "The result of " + clock(item.at) + (item.exam ? ", exam " + item.exam : "");
      if (answer.ok) {
        news.push(body.entry ? `${name}, is kept as entry ${body.entry}. ${body.words}` : `${name}, is sent. ${body.words}`);
        change(item.id, () => []);
      } else {
        const why = (body.findings || []).filter((f) => f.severity === "reject").map((f) => f.message);
        change(item.id, (old) => [{...old, body: "", state: "refused", words: [body.error, ...why].filter(Boolean).join(" ")}]);
      }
    }
    flushing = false;
    render();
  };

  const discard = (item) => {
    const sure = window.confirm(
      item.state === "refused"
        ? "Have you entered this result again, or handed it to somebody who will?"
        : "This result is nowhere else but on paper. If you discard it here, it never reaches the record. Discard it?");
    if (sure) {
      change(item.id, () => []);
      render();
    }
  };

  const row = (item) => {
    const element = make("li", "");
    const name = "Result of " + clock(item.at) + (item.exam ? ", exam " + item.exam : "");
    if (item.state === "refused") {
      element.append(
        make("span", "refused", {class: "badge bad"}),
        make("p", `${name}: ${item.words || ""} It is not in the record. Enter it again from the scanner or from paper.`));
      element.append(button("I have seen to it", () => discard(item)));
    } else {
      const long = Date.now() - item.at > LONG_HOURS * 3600000;
      element.append(
        make("span", "waiting", {class: "badge wait"}),
        make("p", name + (long ? ". It waits too long: tell whoever looks after the interface." : "")),
        button("Discard", () => discard(item), "grave"));
    }
    return element;
  };

  /** Says how much waits, and what has become of what waited. */
  const render = () => {
    const box = $("#waiting");
    if (!box) {
      return;
    }
    const items = waiting();
    box.hidden = items.length === 0 && news.length === 0 && navigator.onLine;
    box.className = "notice " + (items.length > 0 || !navigator.onLine ? "wait" : "good");
    box.replaceChildren();
    if (items.length > 0) {
      const count = items.filter((item) => item.state === "waiting").length;
      box.append(make("h2", count === 1 ? "1 result waits on this device" : count + " results wait on this device"));
      if (count > 0) {
        box.append(
          make("p", "Not in the record yet; sent as soon as the server can be reached. " +
            (inMemory.length === 0 ? "Nobody can read on this device what they hold." : "Leave this page open.")),
          make("p", held),
          button("Try now", flush));
      }
      const list = make("ul", "", {class: "kept-list"});
      list.append(...items.map(row));
      box.append(list);
    } else if (!navigator.onLine) {
      box.append(make("p", "There is no connection. You can go on: results wait on this device until it is back."));
    }
    if (news.length > 0) {
      box.append(...news.map((text) => make("p", text)), button("Seen", () => {
        news.length = 0;
        render();
      }));
    }
  };

  // --- offline: the empty form is kept by the browser, where the connection is safe enough ---

  const prepareOffline = async () => {
    if (!("serviceWorker" in navigator) || !window.isSecureContext) {
      return;
    }
    await navigator.serviceWorker.register("/forms/worker.js", {scope: "/forms/"});
    const wanted = [window.location.pathname, ...all("link[rel=stylesheet], link[rel=icon]").map((l) => l.href), ...all("script[src]").map((s) => s.src)];
    const cache = await caches.open("cistern-bedside");
    await cache.addAll(wanted.map((each) => new Request(each, {cache: "reload"})));
    const absolute = wanted.map((each) => new URL(each, window.location.href).href);
    for (const old of await cache.keys()) {
      if (old.url.includes("/assets/") && !absolute.includes(old.url)) {
        await cache.delete(old);
      }
    }
    document.documentElement.dataset.offline = "ready";
  };

  // --- start ---

  let idle;
  const watchIdle = () => {
    clearTimeout(idle);
    idle = setTimeout(() => {
      if (form() && read(tab, draftKey())) {
        empty(`The form was emptied after ${DRAFT_MINUTES} minutes without an entry, so that no result comes under the patient before.`);
      }
    }, DRAFT_MINUTES * 60000);
  };

  const start = () => {
    form().noValidate = true;
    $("#clear").hidden = false;
    $("#clear").addEventListener("click", () => {
      if (window.confirm("Empty the form? What is typed here is lost.")) {
        empty();
      }
    });
    form().addEventListener("submit", (event) => {
      event.preventDefault();
      submit();
    });
    form().addEventListener("input", () => {
      showWhatMatters();
      saveDraft();
      watchIdle();
    });
    form().addEventListener("change", (event) => {
      if (event.target.dataset.control === "barcode") {
        clean(event.target);
      }
    });
    form().addEventListener("keydown", (event) => {
      if (event.key === "Enter" && event.target.tagName === "INPUT") {
        event.preventDefault();
        clean(event.target);
        goOn(event.target);
      }
    });
    prepareTimes();
    showWhatMatters();
  };

  if (form()) {
    const answered = $("#answer .errors");
    start();
    if (!answered) {
      keyField().value = freshKey(); // a page that was kept for offline use always holds the same
      applyPresets();
      restoreDraft();
      showWhatMatters();
    }
    askTheTime();
    prepareOffline().catch(() => {});
  }
  window.addEventListener("online", flush);
  window.addEventListener("offline", render);
  window.addEventListener("storage", render);
  window.addEventListener("beforeunload", (event) => {
    if (inMemory.some((item) => item.state === "waiting")) {
      event.preventDefault();
    }
  });
  setInterval(() => waiting().some((item) => item.state === "waiting") && flush(), TRY_EVERY);
  render();
  flush();
})();
