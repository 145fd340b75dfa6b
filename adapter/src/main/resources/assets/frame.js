// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
"use strict";

// Times come as UTC; whoever looks sees them on the own clock, with its offset, and UTC on pointing.
(() => {
  const two = (n) => String(n).padStart(2, "0");
  const months = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split(" ");

  const offset = (date) => {
    const minutes = -date.getTimezoneOffset();
    const size = Math.abs(minutes);
    return (minutes < 0 ? "−" : "+") + two(Math.floor(size / 60)) + ":" + two(size % 60);
  };

  for (const each of document.querySelectorAll("time[datetime]")) {
    const date = new Date(each.dateTime);
    if (Number.isNaN(date.getTime()) || each.dateTime.length < 16) {
      continue;
    }
    each.title = each.textContent.trim();
    each.textContent =
      date.getDate() + " " + months[date.getMonth()] + " " + date.getFullYear() + ", " +
      two(date.getHours()) + ":" + two(date.getMinutes()) + ":" + two(date.getSeconds()) + " " +
      offset(date);
  }

  // What went wrong is where the eyes and the keyboard should be.
  const errors = document.querySelector(".errors");
  if (errors) {
    errors.focus();
  }
})();
