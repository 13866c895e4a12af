/**
 * SHA-256 (FIPS 180-4). Browsers give theirs only to secure pages; the shop's own network may be without https,
 * and a part must be proven whole there too.
 */

const PRIMES = firstPrimes(64);
const K = PRIMES.map((prime) => fraction(Math.cbrt(prime)));
const START = PRIMES.slice(0, 8).map((prime) => fraction(Math.sqrt(prime)));

/** The digest of bytes (ArrayBuffer) as 64 hex digits. */
export async function sha256(bytes) {
  if (globalThis.crypto && crypto.subtle) return hex(new Uint8Array(await crypto.subtle.digest("SHA-256", bytes)));
  return plainSha256(bytes);
}

/** The same in plain JavaScript; about 40 MB a second on a phone of 2020. */
export function plainSha256(bytes) {
  const data = new Uint8Array(bytes);
  const padded = new Uint8Array((Math.floor((data.length + 8) / 64) + 1) * 64);
  padded.set(data);
  padded[data.length] = 0x80;
  const view = new DataView(padded.buffer);
  view.setUint32(padded.length - 8, Math.floor(data.length / 0x20000000));
  view.setUint32(padded.length - 4, (data.length << 3) >>> 0);
  const hash = Uint32Array.from(START);
  const w = new Uint32Array(64);
  for (let at = 0; at < padded.length; at += 64) {
    for (let i = 0; i < 16; i += 1) w[i] = view.getUint32(at + i * 4);
    for (let i = 16; i < 64; i += 1) {
      const s0 = turn(w[i - 15], 7) ^ turn(w[i - 15], 18) ^ (w[i - 15] >>> 3);
      const s1 = turn(w[i - 2], 17) ^ turn(w[i - 2], 19) ^ (w[i - 2] >>> 10);
      w[i] = w[i - 16] + s0 + w[i - 7] + s1;
    }
    let [a, b, c, d, e, f, g, h] = hash;
    for (let i = 0; i < 64; i += 1) {
      const t1 = (h + (turn(e, 6) ^ turn(e, 11) ^ turn(e, 25)) + ((e & f) ^ (~e & g)) + K[i] + w[i]) | 0;
      const t2 = ((turn(a, 2) ^ turn(a, 13) ^ turn(a, 22)) + ((a & b) ^ (a & c) ^ (b & c))) | 0;
      [h, g, f, e, d, c, b, a] = [g, f, e, (d + t1) | 0, c, b, a, (t1 + t2) | 0];
    }
    [a, b, c, d, e, f, g, h].forEach((value, i) => { hash[i] += value; });
  }
  return [...hash].map((word) => word.toString(16).padStart(8, "0")).join("");
}

/** 128 random bits as hex: a name that no other phone gives. */
export function newKey() {
  return hex(crypto.getRandomValues(new Uint8Array(16)));
}

function hex(bytes) {
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

function turn(word, by) {
  return (word >>> by) | (word << (32 - by));
}

function fraction(number) {
  return Math.floor((number - Math.floor(number)) * 0x100000000) >>> 0;
}

function firstPrimes(count) {
  const found = [];
  for (let n = 2; found.length < count; n += 1) if (found.every((prime) => n % prime)) found.push(n);
  return found;
}
