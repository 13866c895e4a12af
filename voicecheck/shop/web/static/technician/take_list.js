/** The list of what was recorded about a vehicle: for every take how much of it is safe, and what can be done. */

import { clock, counted, megabytes, safety } from "./words.js";

/**
 * The rows of the list.
 * @param {object[]} takes of this phone, in the shape of base.standing
 * @param {object[]} elsewhere takes that only the shop knows, as it answers them
 * @param {Map<string, string>} refused why the shop does not take one, by key
 * @param {{remove: (take: object) => void, use: (id: string) => void}} work what the buttons do
 */
export function takeRows(takes, elsewhere, refused, work) {
  const own = takes.map((take, n) => {
    const file = take.origin === "file";
    const what = file ? take.name || "Recording from the phone" : `Take ${n + 1}`;
    const long = file ? megabytes(take.size) : clock(take.seconds);
    const no = refused.has(take.key);
    const row = rowOf(`${what}, ${long}`, no ? "not taken by the shop" : safety(take));
    if (no) row.append(button("Remove it from this list", () => work.remove(take)));
    return row;
  });
  const others = elsewhere.map((take) => {
    const arrived = take.parts.length;
    const words = take.complete ? "safe in the shop" : `${counted(arrived, "part")} in the shop, not finished`;
    const row = rowOf("A recording from another phone or page", words);
    const text = arrived ? "Use what has arrived" : "Forget it: nothing has arrived";
    if (!take.complete) row.append(button(text, () => work.use(take.take)));
    return row;
  });
  return [...own, ...others];
}

function rowOf(what, words) {
  const row = document.createElement("li");
  const name = document.createElement("strong");
  name.textContent = what;
  const how = document.createElement("span");
  how.textContent = words;
  row.append(name, how);
  return row;
}

function button(text, work) {
  const made = document.createElement("button");
  made.type = "button";
  made.className = "plain";
  made.textContent = text;
  made.addEventListener("click", work);
  return made;
}
