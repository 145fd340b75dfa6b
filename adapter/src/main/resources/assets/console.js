// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
"use strict";

// Only what a page without scripts cannot do: copying, and choosing all rows of a table at once.
(() => {
  for (const button of document.querySelectorAll("[data-copy]")) {
    const from = document.getElementById(button.dataset.copy);
    const told = button.parentElement.querySelector("[role=status]");
    if (!from || !told || !navigator.clipboard) {
      continue;
    }
    button.hidden = false;
    button.addEventListener("click", async () => {
      try {
        await navigator.clipboard.writeText(from.textContent);
        told.textContent = "Copied.";
      } catch (refused) {
        told.textContent = "The browser does not let this page copy; select the text instead.";
      }
    });
  }

  for (const all of document.querySelectorAll("[data-choose]")) {
    const boxes = document.querySelectorAll("input[name=" + all.dataset.choose + "]");
    all.closest("[hidden]")?.removeAttribute("hidden");
    all.addEventListener("change", () => {
      for (const box of boxes) {
        box.checked = all.checked;
      }
    });
  }
})();
