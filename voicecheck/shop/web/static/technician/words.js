/**
 * What the page says, in words. Pure functions: no page, no network.
 */

/** "2:10" from 130.4; rounded down, like every time the shop shows. */
export function clock(seconds) {
  const whole = Math.max(0, Math.floor(seconds || 0));
  const hours = Math.floor(whole / 3600);
  const minutes = Math.floor((whole % 3600) / 60);
  const rest = String(whole % 60).padStart(2, "0");
  return hours ? `${hours}:${String(minutes).padStart(2, "0")}:${rest}` : `${minutes}:${rest}`;
}

/** "1 part", "3 parts". */
export function counted(count, one, many = `${one}s`) {
  return `${count} ${count === 1 ? one : many}`;
}

/** "12 s" below two minutes, "3:05 min" above. */
export function length(seconds) {
  return seconds < 120 ? `${Math.max(1, Math.round(seconds))} s` : `${clock(seconds)} min`;
}

/** "4.2 MB", "310 kB". */
export function megabytes(bytes) {
  return bytes >= 1e6 ? `${(bytes / 1e6).toFixed(1)} MB` : `${Math.max(1, Math.round(bytes / 1e3))} kB`;
}

/**
 * What is not yet in the shop, e.g. "3 parts, 12 s and 1 photo"; "" when nothing is left.
 * @param {{parts: number, seconds: number, bytes: number, photos: number}} left
 */
export function leftOver(left) {
  const said = [];
  if (left.parts) {
    const much = left.seconds >= 1 ? length(left.seconds) : megabytes(left.bytes);
    said.push(`${counted(left.parts, "part")}, ${much}`);
  }
  if (left.photos) said.push(counted(left.photos, "photo"));
  return said.join(" and ");
}

/**
 * The sentence about one take: safe, or what of it is on this phone only.
 * @param {{complete: boolean, closed: boolean, parts: number, unsent: number, unsentSeconds: number,
 *   unsentBytes: number}} take
 */
export function safety(take) {
  if (take.complete) return "safe in the shop";
  if (take.unsent) {
    const left = { parts: take.unsent, seconds: take.unsentSeconds, bytes: take.unsentBytes, photos: 0 };
    return `still on this phone only: ${leftOver(left)}`;
  }
  if (!take.closed) return take.parts ? "safe in the shop up to here" : "nothing recorded yet";
  return "arrived; the shop is putting it together";
}

/** What the way to the shop is like just now, in one sentence; "" when there is nothing to say. */
export function wayToShop(way) {
  if (way.kind === "sign-in") return "Sign in again to send it; what is on this phone stays.";
  if (way.kind === "somebody-else") {
    return `It was recorded by ${way.name}. It is sent as soon as ${way.name} signs in on this phone.`;
  }
  if (way.kind === "waiting") {
    return "No connection to the shop. It is sent by itself as soon as there is one; you can go on.";
  }
  if (way.kind === "refused") return way.message;
  if (way.kind === "sending") return "Being sent.";
  return "";
}
