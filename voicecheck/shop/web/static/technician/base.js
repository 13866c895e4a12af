/**
 * What every page at the lift does: keep sending what this phone still holds, and say how that stands.
 */

import { openKept } from "./kept.js";
import { Sender } from "./sender.js";
import { clock, leftOver, wayToShop } from "./words.js";

/** Opens what is kept and begins to send. The person is that of the page (body of the template). */
export async function begin() {
  const { person, personName } = document.querySelector("[data-person]").dataset;
  const kept = await openKept();
  const sender = new Sender(kept, { id: person, name: personName });
  return { kept, sender, person: { id: person, name: personName } };
}

/** A take with how much of it the shop does not have yet, in the shape that words.safety takes. */
export async function standing(kept, take) {
  const unsent = take.complete ? [] : (await kept.partsOf(take.key)).filter((part) => !part.sent);
  const sum = (field) => unsent.reduce((total, part) => total + part[field], 0);
  return { ...take, unsent: unsent.length, unsentSeconds: sum("seconds"), unsentBytes: sum("size") };
}

/**
 * The sentence on what is safe, over all that this phone keeps (or one walk-around's), into `place`. `running` is
 * the take that is being recorded.
 * @returns {Promise<{parts: number, seconds: number, bytes: number, photos: number}>} what is left
 */
export async function showSafety(kept, sender, place, walkaround = "", running = null) {
  const mine = (one) => !walkaround || one.walkaround === walkaround;
  const takes = (await kept.takes()).filter(mine);
  const left = { parts: 0, seconds: 0, bytes: 0, photos: (await kept.photos()).filter(mine).length };
  for (const take of takes) {
    const now = await standing(kept, take);
    left.parts += now.unsent;
    left.seconds += now.unsentSeconds;
    left.bytes += now.unsentBytes;
  }
  const onPhone = leftOver(left);
  const said = [];
  if (onPhone) said.push(`Still on this phone only: ${onPhone}.`, wayToShop(sender.way));
  else if (takes.length && ["sign-in", "refused", "somebody-else"].includes(sender.way.kind)) {
    said.push(wayToShop(sender.way));
  } else if (running) {
    const now = takes.find((take) => take.key === running.key);
    if (now?.parts) said.push(`Safe in the shop up to ${clock(now.seconds)}.`);
  } else if (takes.some((take) => take.parts)) said.push("All that was recorded is safe in the shop.");
  if (onPhone && !kept.lasting) {
    said.push("This browser window keeps nothing over a reload: stay on this page until all is sent.");
  }
  const text = said.filter(Boolean).join(" ");
  const words = place.querySelector("[data-words]");
  if (words.textContent !== text) words.textContent = text;
  place.classList.toggle("loud", ["sign-in", "refused", "somebody-else"].includes(sender.way.kind));
  place.hidden = !text;
  const way = place.querySelector("[data-sign-in]");
  if (way) way.hidden = !["sign-in", "somebody-else"].includes(sender.way.kind);
  return left;
}
