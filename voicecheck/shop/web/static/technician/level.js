/**
 * How loud the voice is, in words. `Level` is fed with short stretches of samples and knows nothing of the page.
 *
 * Limits: phones put close speech at -30 to -12 dB (rms, full scale); below -45 dB the recogniser loses words.
 */

export const TOO_QUIET = -45; // dB, the loudest stretch of the last seconds
const LOOK_BACK = 6; // seconds: longer than most pauses between two parts of the car
const CLIPPED = 0.985; // of full scale
const CLIPPED_OFTEN = 0.004; // share of samples of the last two seconds

export class Level {
  constructor() {
    this.stretches = []; // {at, db, clipped, count}
    this.began = null;
  }

  /** @param {Float32Array} samples in -1..1 @param {number} at seconds on any clock */
  feed(samples, at) {
    if (this.began === null) this.began = at;
    let sum = 0;
    let clipped = 0;
    for (const value of samples) {
      sum += value * value;
      if (Math.abs(value) >= CLIPPED) clipped += 1;
    }
    const db = 10 * Math.log10(sum / Math.max(1, samples.length) + 1e-10);
    this.stretches.push({ at, db, clipped, count: samples.length });
    while (this.stretches.length && this.stretches[0].at < at - LOOK_BACK) this.stretches.shift();
  }

  /** The last stretch as a share of the bar, 0 (-60 dB) to 1 (0 dB). */
  get share() {
    const last = this.stretches.at(-1);
    return last ? Math.min(1, Math.max(0, (last.db + 60) / 60)) : 0;
  }

  /** "" while all is well or it cannot be told yet, otherwise what to do. */
  get warning() {
    const last = this.stretches.at(-1);
    if (!last) return "";
    const recent = this.stretches.filter((one) => one.at >= last.at - 2);
    const clipped = recent.reduce((sum, one) => sum + one.clipped, 0);
    const count = recent.reduce((sum, one) => sum + one.count, 0);
    if (clipped > count * CLIPPED_OFTEN) return "Too loud: hold the phone further from your mouth or the noise.";
    if (last.at - this.began < LOOK_BACK) return "";
    const loudest = Math.max(...this.stretches.map((one) => one.db));
    if (loudest < -80) return "No sound at all: is the microphone covered, or used by a call?";
    if (loudest < TOO_QUIET) return "Too quiet: speak towards the phone, a hand’s length away.";
    return "";
  }
}
