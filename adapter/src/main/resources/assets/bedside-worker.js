// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
"use strict";

// Gives out the empty form and its assets when the server cannot be reached. It holds no result.
const CACHE = "cistern-bedside";

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

const page = async (request, url) => {
  try {
    return await fetch(request);
  } catch (error) {
    const kept = await (await caches.open(CACHE)).match(url.pathname);
    if (kept) {
      return kept;
    }
    throw error;
  }
};

const asset = async (request) => {
  const kept = await (await caches.open(CACHE)).match(request);
  return kept || fetch(request);
};

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin) {
    return;
  }
  if (event.request.mode === "navigate" && url.pathname.startsWith("/forms/")) {
    event.respondWith(page(event.request, url));
  } else if (url.pathname.startsWith("/assets/")) {
    event.respondWith(asset(event.request));
  }
});
