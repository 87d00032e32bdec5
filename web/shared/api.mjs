/** Talk to Linnet's server: JSON in, JSON out, one form of error. */

const PATIENCE_MS = 20_000;
// A quarter of an hour of pen is several megabytes: over a poor network that takes minutes.
const SLOWEST_BYTES_PER_S = 20_000;

/**
 * @typedef {object} Answer
 * @property {number|null} status  null when no usable answer came
 * @property {any} json  null when there was none
 * @property {string|null} etag
 * @property {number|null} time_ms  by the server's clock, where it says so [ms since 1970]
 * @property {string} title  what went wrong, from the server; "" when nothing did
 */

/** How long to wait for an answer. [ms] */
const patienceFor = (body = "") => PATIENCE_MS + (1000 * body.length) / SLOWEST_BYTES_PER_S;

const none = (title) => ({ status: null, json: null, etag: null, time_ms: null, title });

/**
 * Send one request. Never throws: a lost network is an answer too.
 *
 * @param {string} method
 * @param {string} path
 * @param {object} [options]
 * @param {string} [options.token]  of a paired tablet
 * @param {string} [options.body]  already serialised, sent byte for byte
 * @param {string} [options.etag]  of the copy at hand
 * @returns {Promise<Answer>}
 */
export async function request(method, path, { token, body, etag } = {}) {
  const headers = { Accept: "application/json" };
  if (token) headers.Authorization = `Bearer ${token}`;
  if (body !== undefined) headers["Content-Type"] = "application/json";
  if (etag) headers["If-None-Match"] = etag;
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), patienceFor(body));
  try {
    const response = await fetch(path, {
      method, headers, body, signal: stop.signal, cache: "no-store", credentials: "same-origin",
      redirect: "error",
    });
    return await answerOf(response);
  } catch {
    return none("The server did not answer.");
  } finally {
    clearTimeout(timer);
  }
}

/** The server's time in an answer. [ms since 1970] */
function timeOf({ headers }) {
  const said_ms = Date.parse(headers.get("Linnet-Time") ?? "");
  return Number.isFinite(said_ms) ? said_ms : null;
}

async function answerOf(response) {
  const { status } = response;
  const etag = response.headers.get("ETag");
  const time_ms = timeOf(response);
  if (status === 304 || status === 204) return { status, json: null, etag, time_ms, title: "" };
  const type = response.headers.get("Content-Type") ?? "";
  // A network's own sign-in page answers 200 with HTML: that is not Linnet speaking.
  if (!/\bjson\b/.test(type)) return none("Something other than Linnet answered.");
  const json = await response.json();
  return { status, json, etag, time_ms, title: status < 400 ? "" : json.detail ?? json.title ?? "" };
}
