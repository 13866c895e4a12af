/**
 * The page at the vehicle: record (here, or with the phone's own camera or recorder), add photos, and say when
 * that is all. One state at a time, one clear thing to do in each; what is kept decides the state, so that a
 * reload in the middle comes back to the same place.
 */

import { ask, NoConnection, Refused, SignedOut, Busy } from "./api.js";
import { begin, showSafety, standing } from "./base.js";
import { fault, keepFile, keyOf } from "./chosen.js";
import { newKey } from "./digest.js";
import { hereOrPhone, Recorder, refusal } from "./recorder.js";
import { takeRows } from "./take_list.js";
import * as words from "./words.js";

const page = document.getElementById("record-page");
const at = (id) => document.getElementById(id);
const walkaround = page.dataset.walkaround;
const title = page.dataset.title;
const PART_BYTES = Number(page.dataset.partBytes);
const TAKE_BYTES = Number(page.dataset.takeBytes);
const TAKE_SECONDS = Number(page.dataset.takeSeconds);
const PHOTO_BYTES = Number(page.dataset.photoBytes);

const { kept, sender, person } = await begin();
const way = hereOrPhone();
const copying = new Set(); // keys of chosen files that are being kept by this page
let recorder = null;
let current = null; // the take that is being recorded here
let release = () => {};
let elsewhere = []; // takes that the shop knows and this phone does not
let photosHere = 0;
let notice = "";
let asking = false; // the browser asks for the microphone

// -- what to show --------------------------------------------------------------------------------------------

async function mine() {
  const all = (await kept.takes()).filter((take) => take.walkaround === walkaround && take.parts);
  all.sort((a, b) => a.began - b.began);
  return Promise.all(all.map((take) => standing(kept, take)));
}

async function stoppedByItself(takes) {
  const open = takes.filter((take) => !take.closed && take.origin === "recorder" && take.key !== current?.key);
  if (!open.length || !navigator.locks) return open;
  const held = new Set((await navigator.locks.query()).held.map((lock) => lock.name));
  return open.filter((take) => !held.has(lockName(take.key)));
}

function lockName(key) {
  return `voicecheck take ${key}`;
}

/** Everything on the page, from what is kept. Calls are strung together, the last one counts. */
let showing = null;
let showAgain = false;
async function show() {
  if (showing) { showAgain = true; return showing; }
  showing = (async () => {
    do { showAgain = false; await showOnce(); } while (showAgain);
    showing = null;
  })();
  return showing;
}

async function showOnce() {
  const takes = await mine();
  const stopped = await stoppedByItself(takes);
  const halfCopied = takes.filter((take) => !take.closed && take.origin === "file" && !copying.has(take.key));
  const wish = (await kept.wishes()).some((one) => one.walkaround === walkaround);
  const here = Boolean(recorder);
  const busy = copying.size > 0;
  const left = await showSafety(kept, sender, at("safe"), walkaround, current);
  const some = takes.length > 0 || elsewhere.length > 0;

  at("notice").textContent = notice;
  at("notice").hidden = !notice;
  at("recording").hidden = !here;
  at("stopped").hidden = here || !stopped.length;
  if (stopped.length) {
    const last = stopped.at(-1);
    at("stopped-words").textContent = `The recording stopped at ${words.clock(last.seconds)}. All that was said until `
      + "then is kept: send it as it is, or go on in a new take.";
  }
  at("half-copied").hidden = here || !halfCopied.length;
  at("half-copied").dataset.take = halfCopied.length ? halfCopied[0].key : "";
  if (halfCopied.length) {
    const file = halfCopied[0];
    at("half-copied-words").textContent = `“${file.name}” was taken over up to ${words.megabytes(file.bytes)} of `
      + `${words.megabytes(file.size)}. Choose the same file again: it goes on from there.`;
  }
  const sending = !here && wish;
  at("sending").hidden = !sending;
  if (sending) {
    at("sending-words").textContent = left.parts + left.photos || takes.some((take) => !take.complete)
      ? "Keep this page open until all of it is in the shop. It goes on by itself when the connection was gone."
      : "Everything is in the shop. It is being handed in.";
  }
  const ready = !here && !stopped.length && !sending;
  at("ready").hidden = !ready;
  at("done").hidden = !ready || !some || busy || halfCopied.length > 0;
  at("ready").classList.toggle("again", some);
  at("record").hidden = !way.here;
  at("how").hidden = !way.here;
  at("why").hidden = some;
  at("record").disabled = asking;
  at("record").textContent = asking ? "Waiting for the microphone …" : some ? "Record more" : "Start recording";
  at("record").classList.toggle("plain", some);
  showTakes(takes);
  if (here) at("takes").hidden = true; // while recording: time, level, what is safe, and nothing else
  at("complaint").hidden = here || sending;
  at("photos").textContent = photosHere ? `${words.counted(photosHere, "photo")} added.` : "";
}

function showTakes(takes) {
  const rows = takeRows(takes, elsewhere, sender.refused, { remove: removeRefused, use: asItIs });
  at("take-list").replaceChildren(...rows);
  at("takes").hidden = rows.length === 0;
}

function say(text) {
  notice = text;
  return show();
}

// -- what the shop knows -------------------------------------------------------------------------------------

async function lookAtShop() {
  let answer;
  try {
    answer = await ask("GET", `/t/walkarounds/${walkaround}/state`);
  } catch (error) {
    if (error instanceof SignedOut) sender.failed(error);
    return;
  }
  const keys = new Set((await kept.takes()).map((take) => take.key));
  elsewhere = answer.takes.filter((take) => !keys.has(take.client_key));
  photosHere = Math.max(photosHere, answer.photos);
}

async function asItIs(take) {
  try {
    await ask("POST", `/t/takes/${take}/as-it-is`, { json: {} });
    await lookAtShop();
    await say("");
  } catch (error) {
    await say(sentence(error));
  }
}

/** What the shop will never take or get whole. A recording made here is asked about once more. */
async function removeRefused(take) {
  const what = `${words.clock(take.seconds)} of recording are then gone from this phone. Remove them?`;
  if (take.origin === "recorder" && !confirm(what)) return;
  try {
    await sender.giveUp(take);
    await say("");
  } catch (error) {
    await say(sentence(error));
  }
}

function sentence(error) {
  if (error instanceof Refused) return error.message;
  if (error instanceof SignedOut) return "Sign in again; what is on this phone stays.";
  if (error instanceof NoConnection || error instanceof Busy) {
    return "No connection to the shop just now: try again in a moment.";
  }
  return String(error);
}

// -- recording here ------------------------------------------------------------------------------------------

function newTake(fields) {
  return {
    key: newKey(), walkaround, title, person: person.id, personName: person.name, kind: "", name: "",
    origin: "recorder", began: Date.now(), seconds: 0, parts: 0, bytes: 0, size: 0,
    closed: false, cut: false, server: null, complete: false, ...fields,
  };
}

/** Keeps a part. A phone whose storage is full gets it back as parts are sent, so wait and try again. */
async function keepPart(take, bytes, seconds) {
  for (let at_ = 0; at_ < bytes.byteLength; at_ += PART_BYTES) {
    const piece = bytes.slice(at_, at_ + PART_BYTES);
    const share = seconds * (piece.byteLength / bytes.byteLength);
    for (let tries = 1; ; tries += 1) {
      try {
        await kept.addPart(take, piece, share);
        break;
      } catch (error) {
        if (tries === 6) throw error;
        sender.poke();
        await new Promise((resolve) => { setTimeout(resolve, 500 * tries); });
      }
    }
  }
  sender.poke();
  await show();
}

async function startRecording() {
  if (recorder || asking) return;
  asking = true;
  await say("");
  const picture = document.querySelector("input[name=how]:checked")?.value === "picture";
  const take = newTake({});
  const fresh = new Recorder((bytes, seconds) => keepPart(take, bytes, seconds));
  try {
    take.kind = (await fresh.open(picture)).slice(0, 64);
    // Held as long as this page records: other tabs, and this one after a reload, see whether it still does.
    navigator.locks?.request(lockName(take.key), () => new Promise((resolve) => { release = resolve; }));
    await kept.addTake(take);
    navigator.storage?.persist?.().catch(() => {});
    fresh.start();
  } catch (error) {
    fresh.close();
    asking = false;
    await kept.forget(take.key);
    await say(refusal(error));
    return;
  }
  asking = false;
  recorder = fresh;
  current = take;
  const preview = at("preview");
  preview.hidden = !picture;
  if (picture) { preview.srcObject = fresh.stream; preview.play().catch(() => {}); }
  fresh.addEventListener("level", (event) => showLevel(event.detail));
  fresh.addEventListener("trouble", (event) => say(event.detail));
  fresh.addEventListener("ended", (event) => recordingEnded(take, event.detail.byItself));
  tick();
  await show();
  at("stop").focus({ preventScroll: true });
  scrollTo({ top: 0 });
}

async function recordingEnded(take, byItself) {
  recorder = null;
  current = null;
  at("preview").srcObject = null;
  release();
  const now = await kept.take(take.key);
  if (now && !now.parts) {
    await kept.forget(take.key);
    await say("Nothing was recorded. Try again, or record with the phone’s own camera or recorder.");
    return;
  }
  // One that ended by itself stays open: the person chooses whether to send it or to go on.
  if (!byItself) await kept.changeTake(take.key, { closed: true });
  sender.poke();
  await show();
}

function tick() {
  if (!recorder) return;
  const seconds = recorder.seconds;
  const text = words.clock(seconds);
  if (at("timer").textContent !== text) at("timer").textContent = text;
  if (TAKE_SECONDS && seconds > TAKE_SECONDS - 5) {
    stopRecording().then(() => say(`A recording is at most ${words.clock(TAKE_SECONDS)} long: go on in a new take.`));
    return;
  }
  setTimeout(tick, 250);
}

function showLevel({ share, warning }) {
  at("bar").style.transform = `scaleX(${share.toFixed(3)})`;
  const text = warning || "Your voice is heard.";
  if (at("level-words").textContent !== text) at("level-words").textContent = text;
  at("level-words").classList.toggle("warned", Boolean(warning));
}

async function stopRecording() {
  if (recorder) await recorder.stop();
}

/** What stopped by itself becomes a take as it is. */
async function closeStopped() {
  for (const take of await stoppedByItself(await mine())) await kept.changeTake(take.key, { closed: true, cut: true });
  sender.poke();
  await show();
}

// -- files and photos ----------------------------------------------------------------------------------------

async function takeFile(file) {
  const wrong = fault(file, TAKE_BYTES, words);
  if (wrong) { await say(wrong); return; }
  const key = await keyOf(file, walkaround);
  if (copying.has(key)) return;
  copying.add(key);
  notice = "";
  const take = newTake({ key, kind: file.type.slice(0, 64), name: file.name.slice(-200), origin: "file", size: file.size });
  try {
    await keepFile(kept, file, take, PART_BYTES, () => { sender.poke(); show(); });
  } catch (error) {
    console.error(error);
    notice = `This phone could not take over “${file.name}”: its storage may be full. Choose it again later.`;
  }
  copying.delete(key);
  sender.poke();
  await show();
}

async function takePhoto(file) {
  if (file.size > PHOTO_BYTES) {
    await say(`This picture has ${words.megabytes(file.size)}; at most ${words.megabytes(PHOTO_BYTES)} are taken.`);
    return;
  }
  const seconds = recorder ? recorder.seconds : null;
  try {
    const bytes = await file.arrayBuffer();
    const photo = {
      key: newKey(), walkaround, title, person: person.id, personName: person.name, kind: file.type,
      take: recorder ? current.key : null, at: seconds,
    };
    await kept.addPhoto(photo, bytes);
  } catch (error) {
    console.error(error);
    await say("This phone could not keep the picture: its storage may be full. Take it again later.");
    return;
  }
  photosHere += 1;
  sender.poke();
  await show();
}

function onFiles(input, take) {
  input.addEventListener("change", async () => {
    const files = [...input.files];
    for (const file of files) await take(file);
    input.value = "";
  });
}

// -- that is all ---------------------------------------------------------------------------------------------

async function thatIsAll() {
  await kept.addWish({ walkaround, title, person: person.id, personName: person.name });
  notice = "";
  await show();
  sender.poke();
}

// -- begin ---------------------------------------------------------------------------------------------------

at("why").textContent = way.why;
page.classList.toggle("phone-first", !way.here);
at("record").addEventListener("click", startRecording);
at("stop").addEventListener("click", stopRecording);
at("send-as-is").addEventListener("click", closeStopped);
at("go-on").addEventListener("click", async () => { await closeStopped(); await startRecording(); });
at("leave-out").addEventListener("click", async () => {
  const take = await kept.take(at("half-copied").dataset.take);
  if (take) await removeRefused(take);
});
at("all").addEventListener("click", thatIsAll);
at("not-all").addEventListener("click", async () => { await kept.dropWish(walkaround); await show(); });
for (const input of page.querySelectorAll("input[data-recording]")) onFiles(input, takeFile);
for (const input of page.querySelectorAll("input[data-photo]")) onFiles(input, takePhoto);
addEventListener("beforeunload", (event) => { if (recorder || copying.size) event.preventDefault(); });
sender.addEventListener("change", show);
sender.addEventListener("drafting", (event) => {
  if (event.detail === walkaround) location.assign(page.dataset.next);
});

sender.addEventListener("not-drafted", async (event) => {
  if (event.detail.walkaround !== walkaround) return;
  await lookAtShop();
  await say(event.detail.message);
});

for (const take of await kept.takes()) { // begun an hour ago and nothing of it kept: no tab is recording it now
  const old = Date.now() - take.began > 3600000;
  if (take.walkaround === walkaround && !take.parts && !take.closed && old) await kept.forget(take.key);
}
await show();
sender.poke();
await lookAtShop();
await show();
page.dataset.begun = "yes";
