// The audio thread: the chosen design steps along on the loop's EMF or the visitor's own, alone or
// with the circuit that it feeds. The others sleep, and wake with the charges and currents of the
// parts that all have in common, so that however many there are, one is paid for.
import { BLOCK, makeCircuit, makeCore, makeGuitar } from "./core.js";
import { REACH, STAGES } from "./engine.js";
import { highPass, makeDirt } from "./dirt.js";
import { RISE_DB_A_SECOND, gainDb } from "./loudness.js";

const KNOB_S = 0.012, FADE_S = 0.004, SEAM_S = 0.012, DIALS_A_SECOND = 120, TOLD_S = 0.03,
  DRIVE_S = 0.03;

// Designs into one input, through one dirt or none, and how far they are faded in.
function makeVoice(core, { afresh, tables, circuit, dirt, driven, volts, trueGain, ownGain, wanted,
  levels }, old) {
  const steppers = tables.map((table) => makeStepper(core, table));
  // A circuit stands in volts, a guitar alone in what the loop has.
  if (old && !afresh && old.circuit === circuit) steppers.forEach(
    (stepper, i) => stepper.adopt(old.steppers[i]));
  const stage = dirt && makeDirt(dirt.spec, sampleRate, dirt.tables);
  if (stage) stage.volts = volts;
  return { steppers, weights: old ? [...old.weights] : steppers.map(() => 0), ghosts: [], stage,
    circuit, into: volts, sum: new Float64Array(BLOCK),
    emphasis: dirt && highPass(dirt.spec.preHz, sampleRate), volts, driven,
    trueGain, ownGain, wanted, levels, gain: null, fade: 0, goal: 1 };
}
const makeStepper = (core, table) => (table.steps ? makeCircuit : makeGuitar)(core, table);

class Live extends AudioWorkletProcessor {
  constructor({ processorOptions }) {
    super();
    this.core = makeCore(new WebAssembly.Module(processorOptions.core));
    const { core } = this;
    // A block's dials, the EMF at the method's instants, and what a stepper makes of them.
    this.blockDials = core.take(BLOCK); this.emf = core.take(STAGES * BLOCK);
    this.blockSound = core.take(BLOCK); this.ramp = new Float64Array(BLOCK);
    this.nodes = null; this.voice = null; this.leaving = [];
    this.position = 0; this.jump = null; this.jumps = 0; this.gate = 1; this.from = 0; this.to = 0;
    this.dial = 10; this.target = 10; this.chosen = 0; this.level = "true"; this.running = false;
    this.reference = null; this.master = 0; this.coming = 1; this.sink = null; this.told = 0;
    this.dials = null; this.listening = false; this.taps = null; this.heardAt = 0;
    this.heard = new Float64Array(4 * REACH); this.hottest = 0.05;
    this.own = Array.from({ length: STAGES }, () => new Float64Array(1));
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
      this.voice = makeVoice(this.core, data.voice, old);
      if (old && old.fade > 1e-6) this.leaving.push(Object.assign(old, { goal: 0 }));
      else if (old) old.steppers.forEach((one) => one.free());
    }
    if (data.replace && this.voice) this.replace(data.replace);
    if (data.row && this.voice) this.voice.levels[data.row.index] = data.row.levels;
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
  // A part of another value: the circuit that was fades out while the new one, in its states,
  // comes.
  replace({ index, tabulated }) {
    const { voice } = this, stepper = makeStepper(this.core, tabulated);
    stepper.adopt(voice.steppers[index]);
    // What is not heard leaves no ghost: it would only be paid for.
    if (voice.weights[index] > 1e-6) voice.ghosts.push(
      { stepper: voice.steppers[index], weight: voice.weights[index] });
    else voice.steppers[index].free();
    voice.steppers[index] = stepper;
    voice.weights[index] = 0;
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
  // A stepper's block, added with a weight that goes to another.
  added(voice, stepper, weight, wanted, count) {
    const { blockDials, emf, blockSound, rates: { fade } } = this;
    if (voice.circuit) stepper.run(
      blockDials, emf + (STAGES - 1) * BLOCK, voice.into, count, blockSound);
    else stepper.run(blockDials, emf, BLOCK, count, blockSound);
    const all = this.core.numbers();
    for (let n = 0; n < count; n += 1) {
      weight += fade * (wanted - weight);
      voice.sum[n] += weight * all[blockSound + n];
    }
    return weight < 1e-6 ? 0 : weight;
  }
  // A block of a voice, without its gain.
  sounding(voice, count) {
    const { stage, sum } = voice, { drive } = this.rates,
      volts = this.listening ? voice.driven / this.hottest : voice.volts;
    sum.fill(0);
    if (voice.circuit) voice.into += (1 - (1 - drive) ** count) * (volts - voice.into);
    voice.steppers.forEach((stepper, i) => {
      const wanted = i === this.chosen ? 1 : 0;
      if (wanted === 0 && voice.weights[i] === 0) return;
      voice.weights[i] = this.added(voice, stepper, voice.weights[i], wanted, count);
    });
    for (const ghost of voice.ghosts) ghost.weight = this.added(
      voice, ghost.stepper, ghost.weight, 0, count);
    voice.ghosts = voice.ghosts.filter(({ weight, stepper }) => weight > 0 || stepper.free());
    for (let n = 0; stage && n < count; n += 1) {
      stage.volts += drive * (volts - stage.volts);
      sum[n] = stage.step(sum[n]);
    }
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
      this.hottest = Math.max(this.hottest, Math.abs(emphasis ? emphasis(x) : x));
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
  // Knob, loudness, place and EMF of a block.
  prepared(input, count) {
    const { blockDials, emf, ramp } = this, all = this.core.numbers();
    for (let n = 0; n < count; n += 1) {
      this.advance();
      const whole = !this.listening && this.from === 0 && this.to === this.nodes[0].length;
      if (!whole) this.enter(input ? input[n] : 0);
      for (let k = 0; k < STAGES; k += 1) all[emf + k * BLOCK + n] = whole
        ? this.nodes[k][this.position] : this.own[k][0];
      all[blockDials + n] = this.dial;
      ramp[n] = this.master * this.coming * this.gate;
      this.position += 1;
    }
  }
  process(inputs, outputs) {
    const out = outputs[0][0], count = out.length, { fade } = this.rates;
    if (!this.nodes || !this.voice || (!this.running && this.master < 1e-5)) {
      this.master = 0;
      this.leaving.forEach(({ steppers }) => steppers.forEach((one) => one.free()));
      this.leaving = [];
      return true;
    }
    const input = this.listening && inputs[0] ? inputs[0][0] : null,
      voices = [this.voice, ...this.leaving], goals = voices.map((voice) => this.goal(voice));
    this.prepared(input, count);
    voices.forEach((voice, v) => {
      voice.gain ??= goals[v];
      this.sounding(voice, count);
      for (let n = 0; n < count; n += 1) {
        voice.gain += fade * (goals[v] - voice.gain);
        voice.fade += fade * (voice.goal - voice.fade);
        out[n] += this.ramp[n] * voice.fade * voice.gain * voice.sum[n];
      }
    });
    this.leaving = this.leaving.filter(({ fade: left, steppers }) => left > 1e-6
      || steppers.forEach((one) => one.free()));
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
