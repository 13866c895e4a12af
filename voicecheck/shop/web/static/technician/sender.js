/**
 * Sends what the phone keeps, over and over until the shop has it. One round goes through everything that is
 * left; when a round fails for want of a connection it is tried again after 1, 2, 4 … 30 seconds, or at once when
 * something new is kept, the page comes to the front, or the browser says that it is back online (a hint only).
 */

import { ask, Busy, NoConnection, Refused, SignedOut, whoAmI } from "./api.js";
import { sha256 } from "./digest.js";

const LONGEST_WAIT = 30000; // ms
const TROUBLE = "This phone has trouble with what it keeps; it is tried again. Do not clear the browser’s data.";

export class Sender extends EventTarget {
  /**
   * Events: "change" (what is left or the way has changed), "drafting" (detail: walk-around id), "not-drafted"
   * (detail {walkaround, message}: the shop did not take it as finished, and the wish is dropped).
   * @param {import("./kept.js").Kept} kept
   * @param {{id: string, name: string}} person who is signed in
   */
  constructor(kept, person) {
    super();
    this.kept = kept;
    this.person = person;
    this.way = { kind: "idle" };
    this.refused = new Map(); // key of a take or photo -> the shop's sentence; not tried again until reload
    this.failures = 0;
    this.running = false;
    this.again = false;
    this.poked = false; // during a round: what it fails of may be over (signed in again, back online)
    this.timer = 0;
    addEventListener("online", () => this.poke());
    document.addEventListener("visibilitychange", () => { if (!document.hidden) this.poke(); });
  }

  /** Something may be there to send: begin now. */
  poke() {
    clearTimeout(this.timer);
    if (this.running) { this.poked = true; return; }
    this.run();
  }

  async run() {
    this.running = true;
    do {
      this.again = this.poked = false;
      clearTimeout(this.timer);
      try {
        await this.round();
        this.failures = 0;
      } catch (error) {
        this.again = false; // what is left is sent with the next try
        this.failed(error);
      }
    } while (this.again || this.poked);
    this.running = false;
  }

  failed(error) {
    if (error instanceof SignedOut) {
      this.setWay({ kind: "sign-in" });
      this.timer = setTimeout(() => this.poke(), LONGEST_WAIT);
      return;
    }
    const known = error instanceof NoConnection || error instanceof Busy;
    if (!known) console.error(error);
    this.failures += 1;
    this.setWay(known ? { kind: "waiting" } : { kind: "refused", message: `${TROUBLE} (${error})` });
    const wait = Math.min(LONGEST_WAIT, 1000 * 2 ** (this.failures - 1)) * (0.75 + Math.random() / 2);
    this.timer = setTimeout(() => this.poke(), wait);
  }

  setWay(way) {
    this.way = way;
    this.dispatchEvent(new Event("change"));
  }

  async round() {
    const takes = (await this.kept.takes()).filter((take) => !take.complete).sort((a, b) => a.began - b.began);
    const photos = await this.kept.photos();
    const wishes = await this.kept.wishes();
    const all = [...takes, ...photos, ...wishes];
    if (all.length && this.failures) await this.checkPerson();
    const foreign = all.filter((one) => one.person !== this.person.id);
    if (all.length > foreign.length && this.way.kind === "idle") this.setWay({ kind: "sending" });
    for (const take of takes) await this.guarded(take, () => this.sendTake(take));
    for (const photo of photos) await this.guarded(photo, () => this.sendPhoto(photo));
    for (const wish of wishes) await this.guarded(wish, () => this.sendWish(wish));
    const said = [...this.refused.values()][0];
    if (said) this.setWay({ kind: "refused", message: said });
    else if (foreign.length) this.setWay({ kind: "somebody-else", name: foreign[0].personName });
    else this.setWay({ kind: "idle" });
  }

  /** Gives up what the shop has refused: it goes from this phone, and the shop forgets that it was announced. */
  async giveUp(take) {
    const now = await this.kept.take(take.key);
    if (now.server && !now.complete) await ask("POST", `/t/takes/${now.server}/as-it-is`, { json: {} });
    await this.kept.forget(take.key);
    this.refused.delete(take.key);
    this.poke();
  }

  /** After a failure somebody else may have signed in on this phone. */
  async checkPerson() {
    this.person = await whoAmI();
  }

  /** What the shop refuses for a reason is said and left alone; the rest goes on. */
  async guarded(one, work) {
    if (one.person !== this.person.id || this.refused.has(one.key)) return;
    try {
      await work();
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      if ((await whoAmI()).id !== one.person) { await this.checkPerson(); return; }
      if (one.key) { this.refused.set(one.key, error.message); return; }
      await this.kept.dropWish(one.walkaround);
      const detail = { walkaround: one.walkaround, message: error.message };
      this.dispatchEvent(new CustomEvent("not-drafted", { detail }));
    }
  }

  async sendTake(take) {
    if (!take.parts) return;
    let server = take.server;
    if (!server) {
      const made = await ask("POST", `/t/walkarounds/${take.walkaround}/takes`, {
        json: { client_key: take.key, kind: take.kind, name: take.name },
      });
      server = made.take;
      await this.kept.changeTake(take.key, { server });
      for (const number of made.parts) await this.kept.partSent(take.key, number);
    }
    for (const part of await this.kept.partsOf(take.key)) {
      if (part.sent) continue;
      const bytes = await this.kept.bytesOf(take.key, part.number);
      if (!bytes) throw new Refused(409, `Part ${part.number + 1} of this recording is lost.`, {});
      await sendBytes("PUT", `/t/takes/${server}/parts/${part.number}`, bytes);
      await this.kept.partSent(take.key, part.number);
      this.failures = 0;
      this.setWay({ kind: "sending" });
    }
    await this.finishTake(take.key, server);
  }

  async finishTake(key, server) {
    const take = await this.kept.take(key);
    const parts = await this.kept.partsOf(key);
    if (!take.closed) return;
    if (parts.some((part) => !part.sent)) { this.again = true; return; }
    try {
      const seconds = take.origin === "recorder" ? take.seconds : null;
      await ask("POST", `/t/takes/${server}/finish`, { json: { parts: take.parts, seconds } });
    } catch (error) {
      const missing = error instanceof Refused && error.status === 409 ? error.answer.missing || [] : [];
      if (!missing.length) throw error;
      for (const number of missing) {
        if (!(await this.kept.bytesOf(key, number))) throw error;
        await this.kept.partUnsent(key, number);
      }
      this.again = true;
      return;
    }
    await this.kept.takeComplete(key);
    this.dispatchEvent(new Event("change"));
  }

  async sendPhoto(photo) {
    const take = photo.take && (await this.kept.take(photo.take));
    const query = new URLSearchParams({ key: photo.key });
    if (take && take.server) {
      query.set("take", take.server);
      query.set("at", photo.at.toFixed(1));
    } else if (take && !this.refused.has(take.key)) {
      return; // the shop does not know its take yet: after the take's first part
    }
    await sendBytes("POST", `/t/walkarounds/${photo.walkaround}/photos?${query}`, await this.kept.bytesOf(photo.key));
    await this.kept.dropPhoto(photo.key);
    this.dispatchEvent(new Event("change"));
  }

  async sendWish(wish) {
    const takes = (await this.kept.takes()).filter((take) => take.walkaround === wish.walkaround);
    const photos = (await this.kept.photos()).filter((photo) => photo.walkaround === wish.walkaround);
    if (photos.length || takes.some((take) => !take.complete)) return;
    await ask("POST", `/t/walkarounds/${wish.walkaround}/finish`, { json: {} });
    await this.kept.dropWish(wish.walkaround);
    for (const take of takes) await this.kept.forget(take.key);
    this.dispatchEvent(new CustomEvent("drafting", { detail: wish.walkaround }));
  }
}

/** Bytes with their digest, so that the shop sees whether they arrived as they were sent. */
async function sendBytes(method, path, bytes) {
  return ask(method, path, { bytes, headers: { "X-SHA256": await sha256(bytes) } });
}
