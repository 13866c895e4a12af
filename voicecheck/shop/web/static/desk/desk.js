// The advisor's page of work: decisions without reloading, keys, and the sound under the words.
// Every form also works without this script.

const bench = document.getElementById("bench");
const notice = document.getElementById("notice");
const csrf = document.body.dataset.csrf || "";

// -- the sound ------------------------------------------------------------------------------------------------

const player = document.querySelector(".player");
const audio = player?.querySelector("audio");
const takes = JSON.parse(player?.dataset.takes || "[]"); // {id, start, seconds, gone}
let stopAt = Infinity;
let current = null; // the take that is loaded
let lit = null; // the button that plays

function takeAt(seconds) {
  return takes.find((t) => seconds < t.start + t.seconds) || takes.at(-1);
}

function stop() {
  audio?.pause();
  lit?.classList.remove("playing");
  lit = null;
}

async function play(from, to, button) {
  if (!audio || !takes.length || Number.isNaN(from)) return;
  const again = lit === button && !audio.paused;
  stop();
  if (again) return;
  const take = takeAt(from);
  if (take.gone) { tell("The recording was removed by the shop’s rule on how long recordings are kept."); return; }
  if (current !== take.id) {
    audio.src = `/media/take/${take.id}/sound.wav`;
    current = take.id;
  }
  stopAt = Number.isNaN(to) ? Infinity : to - take.start + 0.25;
  lit = button;
  button?.classList.add("playing");
  try {
    if (audio.readyState < 1) await new Promise((done, no) => { audio.addEventListener("loadedmetadata", done, { once: true }); audio.addEventListener("error", no, { once: true }); audio.load(); });
    audio.currentTime = Math.max(0, from - take.start - 0.15);
    await audio.play();
  } catch (error) {
    if (error?.name !== "AbortError") tell("The recording cannot be played here.");
    stop();
  }
}

audio?.addEventListener("timeupdate", () => {
  const take = takes.find((t) => t.id === current);
  if (!take) return;
  const now = audio.currentTime + take.start;
  if (audio.currentTime >= stopAt) stop();
  player.querySelector("[data-now]").textContent = audio.paused ? "" : clock(now);
  for (const row of document.querySelectorAll(".talk")) {
    row.classList.toggle("now", !audio.paused && now >= Number(row.dataset.from) && now < Number(row.dataset.to));
  }
});
audio?.addEventListener("ended", stop);

function clock(seconds) {
  return `${Math.floor(seconds / 60)}:${String(Math.floor(seconds % 60)).padStart(2, "0")}`;
}

player?.querySelector("[data-play-all]").addEventListener("click", (event) => {
  play(takes[0]?.start ?? NaN, NaN, event.currentTarget);
});

function number(text) {
  return text === "" || text === undefined ? NaN : Number(text);
}

function showWords(first, last) {
  for (const row of document.querySelectorAll(".talk")) {
    const button = row.querySelector("[data-play]");
    const meets = Number(button.dataset.first) < last && Number(button.dataset.last) > first;
    row.classList.toggle("shown", meets);
    if (meets && !row.closest("details")) row.scrollIntoView({ block: "nearest" });
  }
}

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-play]");
  if (button) {
    showWords(Number(button.dataset.first), Number(button.dataset.last));
    play(number(button.dataset.from), number(button.dataset.to), button);
    return;
  }
  const line = event.target.closest(".line .what");
  if (line && !getSelection()?.toString()) { // a line is heard by clicking it; marked text is left alone
    line.closest(".group")?.querySelector("[data-play]")?.click();
    return;
  }
  const help = event.target.closest("[data-help]");
  if (help) {
    const keys = document.getElementById("keys");
    keys.hidden = !keys.hidden;
    help.setAttribute("aria-expanded", String(!keys.hidden));
  }
});

// -- decisions ------------------------------------------------------------------------------------------------

function tell(text, action) {
  if (!notice) return;
  notice.textContent = text;
  if (action) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = action.words;
    button.addEventListener("click", () => { notice.hidden = true; action.run(); });
    notice.append(button);
  }
  notice.hidden = false;
  clearTimeout(tell.timer);
  if (!action) tell.timer = setTimeout(() => { notice.hidden = true; }, 7000);
}

const items = () => [...bench.querySelectorAll(".item")];
const held = () => document.activeElement?.closest?.(".item");
let busy = Promise.resolve();

function replaceWith(html, { key, next }) {
  const before = items().map((item) => item.dataset.key);
  const scroll = bench.querySelector(".words")?.scrollTop ?? 0;
  bench.innerHTML = html;
  bench.dataset.seq = bench.querySelector("input[name=seq]")?.value ?? bench.dataset.seq;
  const words = bench.querySelector(".words");
  if (words) words.scrollTop = scroll;
  const now = items();
  const at = now.findIndex((item) => item.dataset.key === key);
  let target = at >= 0 && !next ? now[at] : null;
  if (!target && at >= 0) target = now.slice(at + 1).find(isOpen) ?? now.find(isOpen) ?? now[at];
  if (!target) { // it is gone: the one that came after it
    const left = before.slice(before.indexOf(key) + 1);
    target = left.map((k) => now.find((item) => item.dataset.key === k)).find((item) => item && isOpen(item)) ?? now.find(isOpen);
  }
  (target ?? bench.querySelector(".bar .button") ?? bench).focus?.({ preventScroll: false });
  target?.scrollIntoView({ block: "nearest" });
}

function isOpen(item) {
  return item.dataset.item !== "finding" && !("done" in item.dataset);
}

async function send(form, submitter) {
  const data = new FormData(form, submitter);
  const key = form.closest(".item")?.dataset.key ?? held()?.dataset.key ?? "";
  data.set("seq", bench.dataset.seq);
  document.body.classList.add("busy");
  let answer;
  try {
    answer = await fetch(form.action, { method: "POST", body: data, headers: { "X-CSRF": csrf, "X-Part": "bench" } });
  } catch {
    tell("The server cannot be reached. What you typed is still here; try again.");
    return;
  } finally {
    document.body.classList.remove("busy");
  }
  if (answer.ok) {
    const kind = data.get("kind");
    replaceWith(await answer.text(), { key, next: ["confirm", "answer", "settle_unplaced", "place_words"].includes(kind) });
    return;
  }
  const said = await answer.json().catch(() => ({ message: "That did not work." }));
  if (answer.status === 409 && said.stale) tell(said.message, { words: "Show how it is now", run: refresh });
  else tell(said.message);
}

async function refresh() {
  const answer = await fetch(`/desk/${bench.dataset.walkaround}/bench`, { headers: { "X-CSRF": csrf } });
  if (answer.ok) replaceWith(await answer.text(), { key: held()?.dataset.key ?? "", next: false });
}

bench?.addEventListener("submit", (event) => {
  const form = event.target.closest("form[data-decide]");
  if (!form) return;
  event.preventDefault();
  const submitter = event.submitter;
  busy = busy.then(() => send(form, submitter)); // one after the other, each knowing the one before
});

// -- keys -----------------------------------------------------------------------------------------------------

function move(step) {
  const all = items();
  if (!all.length) return;
  const at = all.indexOf(held());
  const target = all[Math.min(all.length - 1, Math.max(0, at + step))];
  target.focus();
  target.scrollIntoView({ block: "nearest" });
}

document.addEventListener("keydown", (event) => {
  if (!bench || event.ctrlKey || event.metaKey || event.altKey) return;
  const typing = event.target.closest("input:not([type=checkbox]), textarea, select");
  if (event.key === "Escape") {
    if (typing) { const item = typing.closest(".item"); const open = typing.closest("details"); if (open) open.open = false; (item ?? bench).focus?.(); }
    stop();
    return;
  }
  if (typing) return;
  const item = held();
  const on = event.target === item || !event.target.closest("button, summary, a");
  if (event.key === "ArrowDown" || event.key === "j") move(1);
  else if (event.key === "ArrowUp" || event.key === "k") move(-1);
  else if (event.key === "Enter" && on && item) {
    const confirm = item.querySelector("[data-confirm]");
    if (confirm) confirm.form.requestSubmit(confirm);
    else if (item.dataset.item === "line") move(1);
    else item.querySelector("button:not([data-play]), summary")?.focus();
  } else if (event.key === " " && on) (item?.querySelector("[data-play]") ?? item?.closest(".group")?.querySelector("[data-play]"))?.click();
  else if (/^[1-9]$/.test(event.key) && item) {
    const choice = item.querySelector(`[data-choice="${event.key}"]`);
    if (!choice) return;
    choice.form.requestSubmit(choice);
  } else if (event.key === "e" && item) open(item.querySelector("[data-edit]"));
  else if (event.key === "x" && item) open(item.querySelector("[data-aside]"));
  else if (event.key === "u") { const undo = bench.querySelector("[data-undo]"); undo?.form.requestSubmit(undo); }
  else if (event.key === "a") bench.querySelector("[data-say]")?.focus();
  else return;
  event.preventDefault();
});

function open(summary) {
  if (!summary) return;
  summary.parentElement.open = true;
  summary.parentElement.querySelector("input:not([type=hidden]), select")?.focus();
}

// -- what happens elsewhere -----------------------------------------------------------------------------------

const waiting = document.querySelector("[data-wait]");
const watched = waiting?.dataset.wait ?? bench?.dataset.walkaround;
if (watched && (waiting || bench)) {
  const events = new EventSource(`/live/walkaround/${watched}`);
  events.addEventListener("state", (event) => {
    const state = JSON.parse(event.data);
    if (waiting) {
      const line = waiting.querySelector("[data-progress]");
      if (line && state.stage) line.textContent = `${state.stage}, ${Math.round(100 * state.share)} %`;
      const bar = waiting.querySelector("progress");
      if (bar) bar.value = state.share;
      if (["review", "issued", "answered"].includes(state.state) || (state.state === "failed" && bar)) location.reload();
    } else if (state.seq > Number(bench.dataset.seq)) {
      busy.then(() => {
        if (state.seq > Number(bench.dataset.seq)) tell("Somebody else has changed this draft.", { words: "Show how it is now", run: refresh });
      });
    }
  });
}

if (bench && !location.hash) items().find(isOpen)?.focus({ preventScroll: true });
