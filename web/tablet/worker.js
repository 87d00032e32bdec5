/**
 * Answers for the tablet page without a server. A service worker, and for that reason no
 * module: some browsers take only plain scripts here.
 *
 * The server puts two lines in front: `VERSION`, and `FILES`, the SHA-256 of each file of
 * the page by its path. A version is kept whole or not at all, and is never mixed with
 * another; nothing else is ever answered from here, and nothing under /api.
 */

"use strict";

const PREFIX = "linnet-tablet-";
const CACHE = PREFIX + VERSION;
// The bytes are kept unpacked, whatever form they travelled in.
const OF_THE_JOURNEY = ["content-encoding", "content-length", "transfer-encoding"];

const hex = (buffer) =>
  [...new Uint8Array(buffer)].map((byte) => byte.toString(16).padStart(2, "0")).join("");

/** Fetch one file; throws unless it is the very file that the list names. */
async function fetched(path) {
  const response = await fetch(path, { cache: "no-store", redirect: "error" });
  if (response.status !== 200) throw new Error(`${path}: ${response.status}`);
  const bytes = await response.arrayBuffer();
  // A network's own sign-in page, or a file of another version, must not be kept.
  if (hex(await crypto.subtle.digest("SHA-256", bytes)) !== FILES[path]) {
    throw new Error(`${path}: other content`);
  }
  const headers = new Headers(response.headers);
  for (const name of OF_THE_JOURNEY) headers.delete(name);
  return new Response(bytes, { headers });
}

async function fill() {
  const paths = Object.keys(FILES);
  const responses = await Promise.all(paths.map(fetched));
  try {
    const cache = await caches.open(CACHE);
    await Promise.all(paths.map((path, i) => cache.put(path, responses[i])));
  } catch (error) {
    await caches.delete(CACHE);
    throw error;
  }
}

async function clear() {
  const names = await caches.keys();
  const old = names.filter((name) => name.startsWith(PREFIX) && name !== CACHE);
  await Promise.all(old.map((name) => caches.delete(name)));
  // A page of the first visit counts as open from now on: no update slips in beneath it.
  await self.clients.claim();
}

// The browser may have thrown the cache away; then everything comes from the server.
async function kept(path, request) {
  return (await caches.match(path, { cacheName: CACHE })) ?? fetch(request);
}

self.addEventListener("install", (event) => event.waitUntil(fill()));
self.addEventListener("activate", (event) => event.waitUntil(clear()));

self.addEventListener("message", (event) => {
  if (event.data === "take_over") self.skipWaiting();
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  const known = origin === self.location.origin && Object.hasOwn(FILES, pathname);
  if (request.method === "GET" && known) event.respondWith(kept(pathname, request));
});
