/**
 * Records in the browser and hands over the parts as they come. What the browser cannot do is said by
 * `hereOrPhone`, before anything is asked of the microphone.
 */

import { Level } from "./level.js";

const PART = 5000; // ms
const FIRST_PART = 1000; // ms: the beginning, without which nothing can be played, is kept early
const LEVEL_EVERY = 100; // ms
const SOUND_BITS = 48000;
const PICTURE_BITS = 1200000; // a part of five seconds stays below 1 MB

/** Whether this page can record by itself, and why or why not, in one sentence. */
export function hereOrPhone() {
  if (!globalThis.isSecureContext) {
    return { here: false, why: "This page has no secure connection (https), so the browser may not use the "
      + "microphone: record with the phone’s own camera or recorder, which is just as good." };
  }
  if (!globalThis.MediaRecorder || !navigator.mediaDevices || !navigator.mediaDevices.getUserMedia) {
    return { here: false, why: "This browser cannot record by itself: record with the phone’s own camera or "
      + "recorder, which is just as good." };
  }
  return { here: true, why: "The connection is secure, so the browser records right here and sends while you talk; "
    + "the phone’s own camera or recorder is just as good." };
}

/** Why the microphone could not be had, and what to do. */
export function refusal(error) {
  const ways = "or record with the phone’s own camera or recorder.";
  if (error.name === "NotAllowedError") {
    return `The microphone is not allowed for this page. Allow it in the browser’s settings for this page, ${ways}`;
  }
  if (error.name === "NotFoundError") return `The browser finds no microphone here. Plug one in, ${ways}`;
  if (error.name === "NotReadableError") {
    return `Something else uses the microphone, perhaps a call. End it and try again, ${ways}`;
  }
  return `The browser could not start to record (${error.name}). Try again, ${ways}`;
}

/** The media type to record, the surest first; "" leaves it to the browser. Apple's browsers play only mp4 surely. */
export function typeFor(picture, supported = (type) => MediaRecorder.isTypeSupported(type)) {
  const mp4 = picture ? ["video/mp4"] : ["audio/mp4"];
  const webm = picture
    ? ["video/webm;codecs=vp8,opus", "video/webm"]
    : ["audio/webm;codecs=opus", "audio/webm", "audio/ogg;codecs=opus"];
  const apple = (navigator.vendor || "").startsWith("Apple");
  return (apple ? [...mp4, ...webm] : [...webm, ...mp4]).find((type) => supported(type)) || "";
}

/**
 * Events: "level" (detail {share, warning}), "ended" (detail {byItself: boolean}), "trouble" (detail: a sentence
 * or "" when it is over).
 */
export class Recorder extends EventTarget {
  /** @param {(bytes: ArrayBuffer, seconds: number) => Promise<void>} keep called with every part, in order */
  constructor(keep) {
    super();
    this.keep = keep;
    this.chain = Promise.resolve();
    this.stopping = false;
    this.timers = [];
    this.level = new Level();
    this.onHide = () => this.flush();
    this.onShow = () => { if (!document.hidden) this.stayAwake(); else this.flush(); };
  }

  /** Asks for the microphone (and camera). Throws what the browser throws. */
  async open(picture) {
    this.stream = await navigator.mediaDevices.getUserMedia({
      audio: { channelCount: 1, echoCancellation: false, noiseSuppression: false, autoGainControl: true },
      video: picture ? { facingMode: "environment", width: { ideal: 1280 }, frameRate: { ideal: 24, max: 30 } } : false,
    });
    const type = typeFor(picture);
    this.media = new MediaRecorder(this.stream, {
      ...(type ? { mimeType: type } : {}), audioBitsPerSecond: SOUND_BITS, videoBitsPerSecond: PICTURE_BITS,
    });
    return this.media.mimeType || type || (picture ? "video/mp4" : "audio/mp4");
  }

  start() {
    const media = this.media;
    media.ondataavailable = (event) => this.arrived(event.data);
    media.onstop = () => this.ended();
    media.onerror = () => { if (media.state !== "inactive") media.stop(); };
    for (const track of this.stream.getTracks()) {
      track.onended = () => { if (media.state !== "inactive") media.stop(); };
    }
    const voice = this.stream.getAudioTracks()[0];
    voice.onmute = () => this.tell("trouble", "Something else uses the microphone: nothing is heard just now.");
    voice.onunmute = () => this.tell("trouble", "");
    this.began = this.lastPart = performance.now();
    media.start(PART);
    this.timers.push(setTimeout(() => this.flush(), FIRST_PART));
    document.addEventListener("visibilitychange", this.onShow);
    addEventListener("pagehide", this.onHide);
    addEventListener("beforeunload", this.onHide);
    this.stayAwake();
    this.listen();
  }

  get running() { return Boolean(this.media) && this.media.state === "recording"; }
  get seconds() { return this.running ? (performance.now() - this.began) / 1000 : 0; }

  /** Have the browser hand over what it holds: the page may go away. */
  flush() {
    if (this.running) this.media.requestData();
  }

  /** Ends the recording; resolves when its last part is kept. */
  stop() {
    this.stopping = true;
    return new Promise((resolve) => {
      this.addEventListener("ended", resolve, { once: true });
      if (this.media.state === "inactive") this.ended();
      else this.media.stop();
    });
  }

  arrived(blob) {
    if (!blob.size) return;
    const now = performance.now();
    const seconds = (now - this.lastPart) / 1000;
    this.lastPart = now;
    const bytes = blob.arrayBuffer(); // at once: the page may be about to go
    this.chain = this.chain.then(async () => this.keep(await bytes, seconds));
    this.chain = this.chain.catch((error) => {
      console.error(error);
      this.tell("trouble", "This phone could not keep a part of the recording: its storage may be full.");
      if (this.media.state !== "inactive") this.media.stop();
    });
  }

  async ended() {
    if (this.over) return;
    this.over = true;
    for (const timer of this.timers) clearTimeout(timer);
    document.removeEventListener("visibilitychange", this.onShow);
    removeEventListener("pagehide", this.onHide);
    removeEventListener("beforeunload", this.onHide);
    await this.chain;
    this.close();
    this.tell("ended", { byItself: !this.stopping });
  }

  close() {
    for (const track of this.stream ? this.stream.getTracks() : []) track.stop();
    if (this.audio) this.audio.close().catch(() => {});
    if (this.awake) this.awake.release().catch(() => {});
  }

  /** A phone that goes to sleep may stop the recording. */
  async stayAwake() {
    try {
      if (navigator.wakeLock && this.running) this.awake = await navigator.wakeLock.request("screen");
    } catch { /* low battery: the phone decides */ }
  }

  listen() {
    const Audio = globalThis.AudioContext || globalThis.webkitAudioContext;
    if (!Audio) return;
    this.audio = new Audio();
    this.audio.resume().catch(() => {});
    const analyser = this.audio.createAnalyser();
    analyser.fftSize = 4096;
    this.audio.createMediaStreamSource(this.stream).connect(analyser);
    const samples = new Float32Array(analyser.fftSize);
    const look = () => {
      if (this.over) return;
      if (this.audio.state === "running") {
        analyser.getFloatTimeDomainData(samples);
        this.level.feed(samples, performance.now() / 1000);
        this.tell("level", { share: this.level.share, warning: this.level.warning });
      }
      this.timers[1] = setTimeout(look, LEVEL_EVERY);
    };
    look();
  }

  tell(name, detail) {
    this.dispatchEvent(new CustomEvent(name, { detail }));
  }
}
