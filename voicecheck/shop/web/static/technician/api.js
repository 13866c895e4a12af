/**
 * Requests to the shop. Every failure is one of four: no connection (try again), signed out, refused for a
 * reason that a person must know, or busy (try again later).
 */

export class NoConnection extends Error {}
export class SignedOut extends Error {}
export class Busy extends Error {}
export class Refused extends Error {
  /** @param {number} status @param {string} message @param {object} answer the whole JSON */
  constructor(status, message, answer) {
    super(message);
    this.status = status;
    this.answer = answer;
  }
}

const PATIENCE = 30000; // ms for one request …
const PATIENCE_BYTES = 180000; // … and for one with a part: 2 MB at 0.1 Mbit/s
let token = document.body.dataset.csrf || "";

/** Asks who is signed in now; the token of a page that was loaded before is worth nothing after a new sign-in. */
export async function whoAmI() {
  const answer = await once("GET", "/t/me", {});
  token = answer.csrf;
  return answer;
}

/**
 * One request with a JSON answer. With an outdated token it asks for a new one and tries once more.
 * @param {"GET"|"POST"|"PUT"} method
 * @param {string} path
 * @param {{json?: object, bytes?: ArrayBuffer, headers?: Record<string, string>}} [what]
 */
export async function ask(method, path, what = {}) {
  try {
    return await once(method, path, what);
  } catch (error) {
    if (!(error instanceof Refused) || error.status !== 403 || method === "GET") throw error;
    await whoAmI();
    return once(method, path, what);
  }
}

async function once(method, path, what) {
  const headers = { Accept: "application/json", "X-CSRF": token, ...(what.headers || {}) };
  let body;
  if (what.json !== undefined) {
    headers["Content-Type"] = "application/json";
    body = JSON.stringify(what.json);
  } else if (what.bytes !== undefined) {
    headers["Content-Type"] = "application/octet-stream";
    body = what.bytes;
  }
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), what.bytes ? PATIENCE_BYTES : PATIENCE);
  let response;
  let answer;
  try {
    response = await fetch(path, {
      method, headers, body, signal: stop.signal, credentials: "same-origin", cache: "no-store", redirect: "error",
    });
    answer = await readJson(response);
  } catch (error) {
    throw new NoConnection(String(error));
  } finally {
    clearTimeout(timer);
  }
  if (response.ok) return answer;
  if (response.status === 401) throw new SignedOut(answer.message || "");
  if (response.status === 429 || response.status >= 500) throw new Busy(answer.message || "");
  throw new Refused(response.status, answer.message || `The shop answered ${response.status}.`, answer);
}

async function readJson(response) {
  const text = await response.text(); // a connection that breaks here is no connection, not a refusal
  try {
    return JSON.parse(text);
  } catch {
    return {};
  }
}
