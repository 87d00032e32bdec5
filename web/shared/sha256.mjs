/**
 * SHA-256 (FIPS 180-4) and random ids, also where the browser withholds its own: a page
 * that came over plain http has neither `crypto.subtle` nor `crypto.randomUUID`.
 */

const primes = (count) => {
  const found = [];
  for (let n = 2; found.length < count; n += 1) {
    if (found.every((p) => n % p !== 0)) found.push(n);
  }
  return found;
};

const fraction32 = (value) => ((value - Math.floor(value)) * 2 ** 32) | 0;

// First 32 bits of the fractions of square and cube roots of the first primes.
const START = primes(8).map((p) => fraction32(Math.sqrt(p)));
const ROUND = primes(64).map((p) => fraction32(Math.cbrt(p)));

const turn = (word, by) => (word >>> by) | (word << (32 - by));

function padded(bytes) {
  const length = Math.ceil((bytes.length + 9) / 64) * 64;
  const whole = new Uint8Array(length);
  whole.set(bytes);
  whole[bytes.length] = 0x80;
  const view = new DataView(whole.buffer);
  view.setUint32(length - 8, Math.floor(bytes.length / 2 ** 29));
  view.setUint32(length - 4, (bytes.length << 3) >>> 0);
  return view;
}

function schedule(view, at, words) {
  for (let i = 0; i < 16; i += 1) words[i] = view.getInt32(at + 4 * i);
  for (let i = 16; i < 64; i += 1) {
    const [a, b] = [words[i - 15], words[i - 2]];
    const s0 = turn(a, 7) ^ turn(a, 18) ^ (a >>> 3);
    const s1 = turn(b, 17) ^ turn(b, 19) ^ (b >>> 10);
    words[i] = (words[i - 16] + s0 + words[i - 7] + s1) | 0;
  }
}

function compress(state, words) {
  let [a, b, c, d, e, f, g, h] = state;
  for (let i = 0; i < 64; i += 1) {
    const s1 = turn(e, 6) ^ turn(e, 11) ^ turn(e, 25);
    const first = (h + s1 + ((e & f) ^ (~e & g)) + ROUND[i] + words[i]) | 0;
    const s0 = turn(a, 2) ^ turn(a, 13) ^ turn(a, 22);
    const second = (s0 + ((a & b) ^ (a & c) ^ (b & c))) | 0;
    [h, g, f, e, d, c, b, a] = [g, f, e, (d + first) | 0, c, b, a, (first + second) | 0];
  }
  [a, b, c, d, e, f, g, h].forEach((word, i) => { state[i] = (state[i] + word) | 0; });
}

/** @param {Uint8Array} bytes */
export function sha256Plain(bytes) {
  const view = padded(bytes);
  const state = Int32Array.from(START);
  const words = new Int32Array(64);
  for (let at = 0; at < view.byteLength; at += 64) {
    schedule(view, at, words);
    compress(state, words);
  }
  return [...state].map((word) => (word >>> 0).toString(16).padStart(8, "0")).join("");
}

const hex = (bytes) => [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");

/** Hash of a text's UTF-8 bytes, 64 hex digits. @param {string} text */
export async function sha256(text) {
  const bytes = new TextEncoder().encode(text);
  if (!globalThis.crypto?.subtle) return sha256Plain(bytes);
  return hex(new Uint8Array(await crypto.subtle.digest("SHA-256", bytes)));
}

/** Random UUID (RFC 9562, version 4). */
export function randomId() {
  if (crypto.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const digits = hex(bytes);
  return [[0, 8], [8, 12], [12, 16], [16, 20], [20, 32]]
    .map(([from, to]) => digits.slice(from, to)).join("-");
}
