/**
 * The page after the recording: how far the shop is, then what was understood, with the seconds to play and
 * answers by one tap. Without this script the same forms work, with a page load for every answer.
 */

import { begin, showSafety } from "./base.js";

const progress = document.getElementById("progress");
const understood = document.getElementById("understood");
const player = document.getElementById("player");
const place = document.getElementById("safe");
const { kept, sender } = await begin();

const show = () => showSafety(kept, sender, place);
sender.addEventListener("change", show);
await show();
sender.poke();
if (progress) follow(progress.dataset.walkaround);
if (understood) listen();

// -- how far the shop is -------------------------------------------------------------------------------------

const STAGES = {
  waiting: "Waiting for the shop to begin.",
  assembling: "Putting the recording together.",
  loading: "Getting ready to listen.",
  decoding: "Reading the recording.",
  listening: "Listening to what you said",
  drafting: "Writing down what was understood.",
};

/** Server-sent events, and asking every few seconds where they do not come through. */
function follow(walkaround) {
  let source = null;
  let last = Date.now();
  let over = false;
  const see = (state) => {
    last = Date.now();
    if (over) return;
    if (state.state !== "waiting" && state.state !== "working") {
      over = true;
      source?.close();
      location.reload();
      return;
    }
    const stage = state.state === "waiting" ? "waiting" : state.stage;
    const words = STAGES[stage] || "The shop is working on it.";
    const part = stage === "listening" ? `: ${Math.round(state.share * 100)} %` : "";
    const text = words + part;
    const place_ = document.getElementById("progress-words");
    if (place_.textContent !== text) place_.textContent = text;
    const bar = document.getElementById("progress-bar");
    if (state.state === "working") bar.value = state.share;
    else bar.removeAttribute("value");
  };
  if (globalThis.EventSource) {
    source = new EventSource(`/live/walkaround/${walkaround}`);
    source.addEventListener("state", (event) => see(JSON.parse(event.data)));
  }
  setInterval(async () => {
    const streaming = source && source.readyState === EventSource.OPEN;
    if (over || (streaming && Date.now() - last < 20000)) return;
    try {
      const answer = await fetch(`/t/walkarounds/${walkaround}/state`, { headers: { Accept: "application/json" } });
      if (answer.ok) see(await answer.json());
      if (answer.status === 401) location.reload(); // to the sign-in page, and back here
    } catch { /* no connection: the next time */ }
  }, 4000);
}

// -- playing -------------------------------------------------------------------------------------------------

let playing = null; // the button whose seconds are played
let until = 0;

function stop() {
  player.pause();
  if (playing) playing.classList.remove("playing");
  if (playing) playing.firstElementChild.textContent = "Hear";
  playing = null;
}

async function play(button) {
  const again = playing === button;
  stop();
  if (again) return;
  playing = button;
  button.classList.add("playing");
  button.firstElementChild.textContent = "Stop";
  const source = `/media/take/${button.dataset.take}/sound.wav`;
  if (!player.src.endsWith(source)) player.src = source;
  until = Number(button.dataset.to) + 0.4;
  try {
    const from = Math.max(0, Number(button.dataset.from) - 0.3);
    if (player.readyState === 0) {
      player.load();
      await new Promise((resolve, reject) => {
        player.addEventListener("loadedmetadata", resolve, { once: true });
        player.addEventListener("error", reject, { once: true });
      });
    }
    player.currentTime = from;
    await player.play();
  } catch {
    if (playing !== button) return; // another one was tapped meanwhile
    stop();
    button.lastElementChild.textContent = "cannot be played just now";
  }
}

// -- answers -------------------------------------------------------------------------------------------------

function listen() {
  player.addEventListener("timeupdate", () => { if (playing && player.currentTime >= until) stop(); });
  player.addEventListener("ended", stop);
  understood.addEventListener("click", (event) => {
    const button = event.target.closest(".play");
    if (button) play(button);
  });
  understood.addEventListener("submit", async (event) => {
    event.preventDefault();
    await answer(event.target, event.submitter);
  });
}

async function answer(form, button) {
  const fields = new URLSearchParams(new FormData(form));
  if (button?.name) fields.set(button.name, button.value);
  const buttons = [...understood.querySelectorAll("form button")];
  for (const one of buttons) one.disabled = true;
  let text = "";
  try {
    const response = await fetch(form.action, {
      method: "POST", body: fields, headers: { "X-Part": "understood", Accept: "text/html" }, redirect: "manual",
    });
    if (response.type === "opaqueredirect") text = "Sign in again, then answer: load this page again.";
    else if (response.headers.get("X-Part") === "understood") {
      stop();
      understood.innerHTML = await response.text(); // our own server's page, made with escaping
      document.getElementById("asks-title").focus({ preventScroll: true });
      document.getElementById("asks").scrollIntoView({ block: "start" });
      return;
    } else text = "That did not work. Load the page again.";
  } catch {
    text = "No connection to the shop just now. Nothing was answered; tap again in a moment.";
  }
  for (const one of buttons) one.disabled = false;
  let said = form.parentElement.querySelector(".fault");
  if (!said) {
    said = document.createElement("p");
    said.className = "fault";
    said.setAttribute("role", "alert");
    form.before(said);
  }
  said.textContent = text;
}
