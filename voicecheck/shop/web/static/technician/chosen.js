/**
 * A recording that the phone's own camera or recorder made: cut into parts that are kept and sent like those of
 * the browser's own recording, so that a lost connection costs one part.
 */

import { sha256 } from "./digest.js";

/** The key of a chosen file: the same file chosen again goes on where it stopped. */
export async function keyOf(file, walkaround) {
  const what = `${walkaround}\n${file.name}\n${file.size}\n${file.lastModified}`;
  return `file-${(await sha256(new TextEncoder().encode(what).buffer)).slice(0, 32)}`;
}

/**
 * Keeps `file` part by part, from where an earlier try stopped.
 * @param {import("./kept.js").Kept} kept
 * @param {File} file
 * @param {object} take a new take record for it (see kept.js); used when there is none with its key yet
 * @param {number} partBytes
 * @param {() => void} onPart after every part
 */
export async function keepFile(kept, file, take, partBytes, onPart) {
  const before = await kept.take(take.key);
  if (!before) await kept.addTake(take);
  if (before && before.closed) return;
  let from = before ? before.bytes : 0;
  while (from < file.size) {
    const bytes = await file.slice(from, from + partBytes).arrayBuffer();
    await kept.addPart(take, bytes, 0);
    from += bytes.byteLength;
    onPart();
  }
  await kept.changeTake(take.key, { closed: true });
  onPart();
}

/** Why a file cannot be taken, in one sentence, or "". The shop looks at its content once more. */
export function fault(file, takeBytes, words) {
  if (!file.size) return `${file.name} is empty. Record again.`;
  if (file.size > takeBytes) {
    return `${file.name} has ${words.megabytes(file.size)}; the shop takes at most ${words.megabytes(takeBytes)} `
      + "in one recording. Record in several shorter takes, or sound only.";
  }
  const type = file.type || "";
  if (type && !/^(audio|video)\//.test(type) && type !== "application/ogg") {
    return `${file.name} is neither sound nor video.`;
  }
  return "";
}
