// The audio thread: the chosen design steps along on the loop's EMF or the visitor's own. The
// others
// sleep, and wake with the charges and currents of the parts that all have in common, so that
// however many there are, one is paid for.
import { REACH, STAGES, makeStepper } from "./engine.js";
import { highPass, makeDirt } from "./dirt.js";
import { RISE_DB_A_SECOND, gainDb } from "./loudness.js";

const KNOB_S = 0.012, FADE_S = 0.004, SEAM_S = 0.012, DIALS_A_SECOND = 120, TOLD_S = 0.03,
  DRIVE_S = 0.03;

// Designs into one input, through one dirt or none, and how far they are faded in.
function makeVoice({ afresh, tables, dirt, volts, trueGain, ownGain, wanted, levels }, old) {
  const steppers = tables.map((table) => makeStepper(table));
  if (old && !afresh) steppers.forEach((stepper, i) => stepper.adopt(old.steppers[i]));
  const stage = dirt && makeDirt(dirt.spec, sampleRate, dirt.tables);
  if (stage) stage.volts = volts;
  return { steppers, weights: old ? [...old.weights] : steppers.map(() => 0), ghosts: [], stage,
    emphasis: dirt && highPass(dirt.spec.preHz, sampleRate), volts, driven: dirt && dirt.driven,
      trueGain, ownGain, wanted, levels, gain: null, fade: 0, goal: 1 };
}

class Live extends AudioWorkletProcessor {
  constructor() {
    super();
    Object.assign(this, { nodes: null, voice: null, leaving: [], position: 0, jump: null, jumps: 0,
      gate: 1, from: 0, to: 0, dial: 10, target: 10, chosen: 0, level: "true", running: false,
        reference: null, master: 0, coming: 1, sink: null, told: 0, dials: null });
    Object.assign(this, { listening: false, taps: null, heard: new Float64Array(4 * REACH),
      heardAt: 0, hottest: 0.05, own: Array.from({ length: STAGES }, () => new Float64Array(1)) });
    const smooth = (seconds) => 1 - Math.exp(-1 / (seconds * sampleRate));
    this.rates = { knob: smooth(KNOB_S), fade: smooth(FADE_S), drive: smooth(DRIVE_S),
      rise: 10 ** (RISE_DB_A_SECOND / 20 / sampleRate) };
    this.port.onmessage = ({ data }) => this.hear(data);
  }
  hear(data) {
    if (data.nodes) {
      this.nodes = data.nodes;
      for (const key of ["position", "from", "to", "jumps"]) this[key] = data[key];
      this.stayInside();
      // Wherever it was to go was in the loop before.
      this.jump = null;
      this.dial = data.target ?? this.dial;
    }
    if (data.taps) this.taps = data.taps;
    if (data.dials) this.dials = data.dials;
    if (data.voice) {
      const old = this.voice;
      this.voice = makeVoice(data.voice, old);
      if (old && old.fade > 1e-6) this.leaving.push(Object.assign(old, { goal: 0 }));
    }
    // A part of another value: the circuit that was fades out while the new one, in its states,
    // comes.
    if (data.replace) {
      const { index, tabulated } = data.replace, stepper = makeStepper(tabulated),
        voice = this.voice;
      stepper.adopt(voice.steppers[index]);
      // What is not heard leaves no ghost: it would only be paid for.
      if (voice.weights[index] > 1e-6) voice.ghosts.push(
        { stepper: voice.steppers[index], weight: voice.weights[index] });
      voice.steppers[index] = stepper;
      voice.weights[index] = 0;
    }
    if (data.row) this.voice.levels[data.row.index] = data.row.levels;
    for (const key of ["volts", "wanted"]) if (
      key in data && this.voice) this.voice[key] = data[key];
    if ("chosen" in data && this.voice && this.voice.weights[
      data.chosen] === 0) this.voice.steppers[data.chosen].adopt(this.voice.steppers[this.chosen]);
    for (const key of ["target", "chosen", "level", "running", "reference", "listening"]) if (
      key in data) this[key] = data[key];
    // To another place, or round another part of the loop: in the moment of silence that is made
    // for it.
    if (data.jump) this.jump = { ...this.jump, ...data.jump };
    if ("coming" in data) this.sink = (this.sink ?? this.coming) * data.coming;
  }
  // The EMF of what comes in at the instants of this step, `REACH` - 1 samples late.
  listen(x, entry) {
    const { heard, taps } = this, size = 2 * REACH;
    heard[this.heardAt] = heard[this.heardAt + size] = x;
    this.heardAt = (this.heardAt + 1) % size;
    for (let k = 0; k < entry.length; k += 1) {
      const tap = taps[k];
      let total = 0;
      if (tap) for (let i = 0; i < size; i += 1) total += tap[i] * heard[this.heardAt + i];
      else total = heard[this.heardAt + REACH];
      entry[k][0] = total;
    }
  }
  // One sample of a voice.
  sounding(voice, nodes, n, fade) {
    let sum = 0;
    for (let i = 0; i < voice.steppers.length; i += 1) {
      const wanted = i === this.chosen ? 1 : 0;
      if (wanted === 0 && voice.weights[i] === 0) continue;
      voice.weights[i] += fade * (wanted - voice.weights[i]);
      if (voice.weights[i] < 1e-6) voice.weights[i] = 0;
      sum += voice.weights[i] * voice.steppers[i].step(this.dial, nodes, n);
    }
    for (const ghost of voice.ghosts) {
      ghost.weight -= fade * ghost.weight;
      sum += ghost.weight * ghost.stepper.step(this.dial, nodes, n);
    }
    return voice.stage ? voice.stage.step(sum) : sum;
  }
  goal(voice) {
    return (this.listening ? voice.ownGain : voice.trueGain) * 10 ** (
      gainDb(voice.levels[this.chosen], this, this.dial,
        { dials: this.dials, wanted: voice.wanted }) / 20);
  }
  // This sample's EMF where it does not stand in the loop as it is: from what comes in, or faded at
  // the seam of the part that is repeated.
  enter(x) {
    if (this.listening) {
      const { emphasis } = this.voice;
      if (emphasis) this.hottest = Math.max(this.hottest, Math.abs(emphasis(x)));
      this.listen(x, this.own);
      return;
    }
    const at = this.position, edge = Math.min(
      1, Math.max(0, Math.min(at - this.from, this.to - 1 - at) / (SEAM_S * sampleRate))),
        ramp = Math.sin((Math.PI / 2) * edge) ** 2;
    for (let k = 0; k < this.own.length; k += 1) this.own[k][0] = ramp * this.nodes[k][at];
  }
  // A part may have been meant for another recording, which is on its way.
  stayInside() {
    const { length } = this.nodes[0];
    if (!(this.from < length)) this.from = 0;
    if (!(this.to > this.from && this.to <= length)) this.to = length;
  }
  // Knob, loudness and place, one sample on.
  advance() {
    const away = this.target - this.dial, most = DIALS_A_SECOND / sampleRate;
    this.dial = Math.abs(away) < 1e-4 ? this.target
      : this.dial + Math.max(-most, Math.min(most, this.rates.knob * away));
    this.master += this.rates.fade * ((this.running ? 1 : 0) - this.master);
    // Down as fast as a switch, up slowly.
    if (this.sink === null) this.coming = Math.min(1, this.coming * this.rates.rise);
    else {
      this.coming += this.rates.fade * (this.sink - this.coming);
      if (this.coming < 1.05 * this.sink) this.sink = null;
    }
    this.gate += this.rates.fade * ((this.jump ? 0 : 1) - this.gate);
    if (this.jump && this.gate < 1e-3) {
      Object.assign(this, this.jump);
      this.jump = null;
      this.stayInside();
    }
    if (this.position >= this.to || this.position < this.from) this.position = this.from;
  }
  process(inputs, outputs) {
    const out = outputs[0][0], count = out.length, { fade, drive } = this.rates;
    if (!this.nodes || !this.voice || (!this.running && this.master < 1e-5)) {
      this.master = 0;
      this.leaving = [];
      return true;
    }
    const input = this.listening && inputs[0] ? inputs[0][0] : null,
      voices = [this.voice, ...this.leaving], goals = voices.map((voice) => this.goal(voice));
    voices.forEach((voice, i) => { voice.gain ??= goals[i]; });
    for (let n = 0; n < count; n += 1) {
      this.advance();
      const whole = !this.listening && this.from === 0 && this.to === this.nodes[0].length;
      if (!whole) this.enter(input ? input[n] : 0);
      const nodes = whole ? this.nodes : this.own, at = whole ? this.position : 0;
      let sum = 0;
      for (let v = 0; v < voices.length; v += 1) {
        const voice = voices[v];
        voice.gain += fade * (goals[v] - voice.gain);
        voice.fade += fade * (voice.goal - voice.fade);
        if (voice.stage) voice.stage.volts += drive * (
          (this.listening ? voice.driven / this.hottest : voice.volts) - voice.stage.volts);
        sum += voice.fade * voice.gain * this.sounding(voice, nodes, at, fade);
      }
      out[n] = this.master * this.coming * this.gate * sum;
      this.position += 1;
    }
    this.voice.ghosts = this.voice.ghosts.filter((ghost) => ghost.weight > 1e-6);
    this.leaving = this.leaving.filter((voice) => voice.fade > 1e-6);
    for (let c = 1; c < outputs[0].length; c += 1) outputs[0][c].set(out);
    this.told += count;
    if (this.told >= TOLD_S * sampleRate) {
      this.told = 0;
      this.port.postMessage({ position: this.position, dial: this.dial, jumps: this.jumps });
    }
    return true;
  }
}
registerProcessor("live", Live);
