/** The list of vehicles: sends what is left, and leads back to what was begun on this phone. */

import { begin, showSafety, standing } from "./base.js";
import { safety } from "./words.js";

const place = document.getElementById("safe");
const list = document.getElementById("on-phone");
const { kept, sender } = await begin();

async function show() {
  await showSafety(kept, sender, place);
  const rows = new Map();
  for (const take of await kept.takes()) {
    const now = await standing(kept, take);
    if (now.parts && (now.unsent || !now.closed)) rows.set(take.walkaround, { title: take.title, words: safety(now) });
  }
  for (const one of [...(await kept.photos()), ...(await kept.wishes())]) {
    if (!rows.has(one.walkaround)) rows.set(one.walkaround, { title: one.title, words: "being sent" });
  }
  list.replaceChildren(...[...rows].map(([walkaround, { title, words }]) => {
    const row = document.createElement("li");
    const link = document.createElement("a");
    link.className = "vehicle";
    link.href = `/t/walkarounds/${walkaround}/record`;
    const name = document.createElement("strong");
    name.textContent = title || "Vehicle without a name";
    const how = document.createElement("span");
    how.textContent = words;
    link.append(name, how);
    row.append(link);
    return row;
  }));
  list.closest("section").hidden = rows.size === 0;
}

sender.addEventListener("change", show);
sender.addEventListener("drafting", () => location.reload());
await show();
sender.poke();
