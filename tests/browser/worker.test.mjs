import assert from "node:assert/strict";
import { createHash, webcrypto } from "node:crypto";
import { readFileSync } from "node:fs";
import { test } from "node:test";
import vm from "node:vm";

const SOURCE = readFileSync(new URL("../../web/tablet/worker.js", import.meta.url), "utf8");
const ORIGIN = "https://linnet.test";
const sha256 = (text) => createHash("sha256").update(text).digest("hex");
const PAGES = { "/tablet": "<!doctype html>", "/static/tablet/page.mjs": "start();" };
const LISTED = Object.fromEntries(
  Object.entries(PAGES).map(([path, text]) => [path, sha256(text)]));

/** Caches as the standard has them, as far as the worker uses them. */
function cacheStorage() {
  const all = new Map();
  return {
    all,
    open: async (name) => {
      if (!all.has(name)) all.set(name, new Map());
      return { put: async (path, response) => { all.get(name)?.set(path, response); } };
    },
    keys: async () => [...all.keys()],
    delete: async (name) => all.delete(name),
    match: async (path, { cacheName }) => all.get(cacheName)?.get(path)?.clone(),
  };
}

/** One worker on its own; `serve` answers its fetches. */
function worker({ version = "v1", files = LISTED, serve, caches = cacheStorage() }) {
  const handlers = {};
  const done = { claimed: 0, skipped: 0, fetched: [] };
  const self = {
    addEventListener: (name, handle) => { handlers[name] = handle; },
    location: { origin: ORIGIN },
    clients: { claim: async () => { done.claimed += 1; } },
    skipWaiting: () => { done.skipped += 1; },
  };
  const fetch = async (request, options) => {
    const path = typeof request === "string" ? request : new URL(request.url).pathname;
    done.fetched.push({ path, options });
    return serve(path);
  };
  const front = [["VERSION", version], ["FILES", files]]
    .map(([name, value]) => `const ${name} = ${JSON.stringify(value)};\n`);
  vm.runInNewContext(front.join("") + SOURCE, {
    self, caches, fetch, crypto: webcrypto, Response, Headers, URL, Uint8Array,
  });
  const lasting = async (name) => {
    let until;
    handlers[name]({ waitUntil: (promise) => { until = promise; } });
    await until;
  };
  const ask = (path, { method = "GET", origin = ORIGIN } = {}) => {
    let answered = null;
    handlers.fetch({
      request: { url: origin + path, method }, respondWith: (response) => { answered = response; },
    });
    return answered;
  };
  return {
    done, caches, handlers, ask,
    install: () => lasting("install"), activate: () => lasting("activate"),
  };
}

const served = (path) => (path in PAGES
  ? new Response(PAGES[path], {
    headers: {
      "Content-Type": "text/html", "Content-Security-Policy": "default-src 'none'",
      "Content-Encoding": "identity",
    },
  })
  : new Response("none", { status: 404 }));
const dead = () => { throw new TypeError("no network"); };

test("what was installed is answered without a server, with its header fields", async () => {
  let serve = served;
  const one = worker({ serve: (path) => serve(path) });
  await one.install();
  serve = dead;
  for (const path of ["/tablet", "/tablet?from=desk", "/static/tablet/page.mjs"]) {
    const response = await one.ask(path);
    assert.equal(await response.text(), PAGES[path.split("?")[0]]);
    assert.equal(response.headers.get("Content-Security-Policy"), "default-src 'none'");
    assert.equal(response.headers.get("Content-Encoding"), null);
  }
  assert.ok(one.done.fetched.every(({ options }) => options.cache === "no-store"));
});

test("nothing else is answered: no interface, no desk, no other host, no writes", async () => {
  const one = worker({ serve: served });
  await one.install();
  const asked = [
    ["/api/tablet/day"], ["/api/trials/1", { method: "PUT" }], ["/static/desk/desk.css"], ["/"],
    ["/tablet-worker.js"], ["/tablet", { method: "POST" }], ["/constructor"],
    ["/tablet", { origin: "https://elsewhere.test" }],
  ];
  for (const [path, more] of asked) assert.equal(one.ask(path, more), null, path);
});

const butFor = (answer) => (path) => (path === "/tablet" ? served(path) : answer());
const FAULTS = {
  "a file that is missing": butFor(() => new Response("", { status: 404 })),
  "a file that the network loses": butFor(dead),
  "a network's own sign-in page": () => new Response("<h1>Welcome</h1>"),
  "a file of another version": butFor(() => new Response("start( );")),
};

for (const [what, serve] of Object.entries(FAULTS)) {
  test(`the whole install fails with ${what}, and nothing of it is kept`, async () => {
    const one = worker({ serve });
    await assert.rejects(one.install());
    assert.equal(one.caches.all.size, 0);
  });
}

test("a full storage fails the install and leaves nothing behind", async () => {
  const caches = cacheStorage();
  const { open } = caches;
  caches.open = async (name) => {
    await open(name);
    return { put: async () => { throw new Error("full"); } };
  };
  const one = worker({ serve: served, caches });
  await assert.rejects(one.install(), /full/);
  assert.equal(caches.all.size, 0);
});

test("a new version waits, and removes the old one only when it takes over", async () => {
  const caches = cacheStorage();
  await caches.open("another-page");
  const old = worker({ serve: served, caches });
  await old.install();
  const text = "start(); // newer";
  const files = { ...LISTED, "/static/tablet/page.mjs": sha256(text) };
  const next = worker({
    version: "v2", files, caches,
    serve: (path) => (path === "/tablet" ? served(path) : new Response(text)),
  });
  await next.install();
  assert.equal(await (await old.ask("/static/tablet/page.mjs")).text(), "start();");
  assert.equal(await (await next.ask("/static/tablet/page.mjs")).text(), text);
  assert.equal(next.done.skipped, 0);
  next.handlers.message({ data: "something else" });
  assert.equal(next.done.skipped, 0);
  next.handlers.message({ data: "take_over" });
  assert.equal(next.done.skipped, 1);
  await next.activate();
  assert.deepEqual([...caches.all.keys()], ["another-page", "linnet-tablet-v2"]);
  assert.equal(next.done.claimed, 1);
});

test("a cache that the browser threw away is answered by the server", async () => {
  const one = worker({ serve: served });
  await one.install();
  one.caches.all.clear();
  assert.equal(await (await one.ask("/tablet")).text(), PAGES["/tablet"]);
});
