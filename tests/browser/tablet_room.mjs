/** A tablet page without a browser: its disk is a store in memory, its server a function. */

import { createHash } from "node:crypto";

import { MemoryStore, Store } from "../../web/tablet/store.mjs";
import { Tablet } from "../../web/tablet/tablet.mjs";

/** Let a disk take nothing new in some of its stores. @returns {() => void}  let it again */
export function refuse(disk, ...names) {
  const change = disk.change.bind(disk);
  disk.change = async (steps, ...more) => {
    if (steps.some(({ store, put }) => put && names.includes(store))) throw new Error("full");
    return change(steps, ...more);
  };
  return () => { disk.change = change; };
}

/**
 * A tablet that was opened.
 *
 * @param {(path: string, body?: string) => {status: number, json?: object, more?: object}}
 *   answer  of the server; `more`: headers
 * @param {object|null} [disk]  `MemoryStore`; null: this browser keeps nothing
 */
export async function opened(answer, disk = new MemoryStore()) {
  Store.open = async () => disk ?? Promise.reject(new Error("no IndexedDB"));
  const sent = [];
  Object.assign(globalThis, {
    addEventListener: () => {}, innerWidth: 1180, innerHeight: 820,
    fetch: async (path, { method, headers, body, cache }) => {
      const token = headers.Authorization;
      sent.push({ path, method, body: body && JSON.parse(body), text: body, token, cache });
      const { status, json, more } = answer(path, body);
      return new Response(status === 304 ? null : JSON.stringify(json ?? {}), {
        status, headers: { "Content-Type": "application/json", ...more },
      });
    },
  });
  const tablet = new Tablet(() => {});
  await tablet.open();
  return { tablet, sent, to: (path) => sent.filter((one) => one.path === path) };
}

export const taking = (path) => (path === "/api/pair"
  ? { status: 200, json: { token: "tok", tablet_id: "tab" } } : { status: 201 });
export const silent = (path) => (path === "/api/pair" ? taking(path) : { status: 503 });
/** A server that takes trials and repeats the hash of their bytes. */
export const hearing = (path, body) => (path.startsWith("/api/trials/")
  ? { status: 201, json: { sha256: createHash("sha256").update(body).digest("hex") } }
  : taking(path));
