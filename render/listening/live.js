"use strict";
// The engine at work in the audio thread, and what the page tells it.

// Runs in the audio thread: every design steps along, and the chosen one is heard, so that
// switching finds each circuit as it would have been.
function registerLive(engine) {
  const KNOB_S = 0.012, FADE_S = 0.004, DIALS_A_SECOND = 120, TOLD_S = 0.03;
  class Live extends AudioWorkletProcessor {
    constructor() {
      super();
      Object.assign(this, { nodes: null, steppers: [], gains: [], ghosts: [], offsets: [], position: 0, dial: 10, target: 10, chosen: 0, level: "true", running: false, reference: null, master: 0, told: 0, data: null });
      this.port.onmessage = ({ data }) => this.hear(data);
    }
    hear(data) {
      if (data.nodes) { this.nodes = data.nodes; this.data = data; this.dial = data.target; }
      if (data.tables) {
        this.steppers = data.tables.map(engine.makeStepper);
        this.gains = data.tables.map(() => 0);
      }
      // A part of another value: the circuit that was fades out while the new one, in its states, comes.
      if (data.replace) {
        const { index, tabulated, offsetDb } = data.replace, stepper = engine.makeStepper(tabulated);
        stepper.adopt(this.steppers[index].states());
        this.ghosts.push({ stepper: this.steppers[index], gain: this.gains[index] });
        if (this.ghosts.length > 4) this.ghosts.shift();
        this.steppers[index] = stepper;
        this.gains[index] = 0;
        if (offsetDb) this.offsets[index] = offsetDb;
      }
      for (const key of ["target", "chosen", "level", "running", "reference"]) if (key in data) this[key] = data[key];
      if ("position" in data) this.position = data.position;
      if (data.offsets) this.offsets = data.offsets;
    }
    wanted(design) {
      if (design !== this.chosen) return 0;
      return this.data.trueGain * 10 ** (engine.gainDb(design, this, this.dial, this.data, this.offsets) / 20);
    }
    process(_, outputs) {
      const out = outputs[0][0], count = out.length;
      if (!this.nodes || (!this.running && this.master < 1e-5)) { this.master = 0; return true; }
      const length = this.nodes[0].length, knob = 1 - Math.exp(-1 / (KNOB_S * sampleRate)), fade = 1 - Math.exp(-1 / (FADE_S * sampleRate)), most = DIALS_A_SECOND / sampleRate;
      const wanted = this.steppers.map((__, i) => this.wanted(i));
      for (let n = 0; n < count; n += 1) {
        const away = this.target - this.dial;
        this.dial = Math.abs(away) < 1e-4 ? this.target : this.dial + Math.max(-most, Math.min(most, knob * away));
        this.master += fade * ((this.running ? 1 : 0) - this.master);
        let sum = 0;
        for (let i = 0; i < wanted.length; i += 1) {
          this.gains[i] += fade * (wanted[i] - this.gains[i]);
          sum += this.gains[i] * this.steppers[i].step(this.dial, this.nodes, this.position);
        }
        for (const ghost of this.ghosts) {
          ghost.gain -= fade * ghost.gain;
          sum += ghost.gain * ghost.stepper.step(this.dial, this.nodes, this.position);
        }
        out[n] = this.master * sum;
        this.position += 1;
        if (this.position === length) this.position = 0;
      }
      this.ghosts = this.ghosts.filter((ghost) => ghost.gain > 1e-6);
      for (let c = 1; c < outputs[0].length; c += 1) outputs[0][c].set(out);
      this.told += count;
      if (this.told >= TOLD_S * sampleRate) {
        this.told = 0;
        this.port.postMessage({ position: this.position, dial: this.dial });
      }
      return true;
    }
  }
  registerProcessor("live", Live);
}

const bytesOf = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0)).buffer;

// The page's side: loads the engine once, then passes on what is turned and chosen.
function makeLive(data, say) {
  const engine = makeEngine();
  let node = null, loading = null, rate = data.rate, length = 0, position = 0, heardAt = 0, clock = null;
  let nodes = null, tables = null, source = null, pending = 0;
  // Of our own, so that the workshop's values stay in the data.
  const circuits = structuredClone(data.circuits), ownLevels = [], offsets = [], refining = [];
  const QUICK_ROWS = 257, REFINE_MS = 250, MOST_DB = 40;
  const now = { target: 10, chosen: 0, level: "true", running: false, reference: null };
  // Where the circuit stands: at the knob, or at 10 in its place.
  const sounding = () => (now.reference === null ? now.target : 10);
  const loudness = () => ({ trueGain: data.trueGain, matchedDb: data.matchedDb, levelDials: data.levelDials });
  const workletText = () => `const makeEngine = ${makeEngine.toString()};\nconst registerLive = ${registerLive.toString()};\nregisterLive(makeEngine());`;

  async function load(context) {
    clock = context;
    rate = context.sampleRate;
    const emf = (await context.decodeAudioData(bytesOf(data.emf))).getChannelData(0);
    length = emf.length;
    nodes = engine.emfNodes(emf, data.method.nodes).map((x) => Float32Array.from(x));
    tables = circuits.map((circuit) => engine.tabulate(circuit, data.method, rate, QUICK_ROWS));
    try {
      await context.audioWorklet.addModule(`data:text/javascript;charset=utf-8,${encodeURIComponent(workletText())}`);
      node = new AudioWorkletNode(context, "live", { numberOfInputs: 0, outputChannelCount: [2] });
      node.port.postMessage({ nodes, tables, ...loudness(), ...now, target: sounding() });
      node.port.onmessage = ({ data: told }) => { position = told.position; heardAt = clock.currentTime; say(told.dial); };
      node.connect(context.destination);
    } catch {
      node = null;
      say(null); // no audio thread here: the loop is rendered anew when the knob rests
    }
  }
  // Sound first, then every row of the dial, one design after the other.
  function refine(design) {
    if (design === circuits.length) return;
    if (!refining[design]) put(design, data.rows);
    setTimeout(refine, 20, design + 1);
  }
  const tell = (change) => {
    Object.assign(now, change);
    if (node) node.port.postMessage(change);
    else if (nodes) renderSoon();
  };

  // Another recording's EMF: what plays goes on with it, loud as the loudest dial allows.
  function replaceEmf(emf, power) {
    length = emf.length;
    nodes = engine.emfNodes(emf, data.method.nodes).map((x) => Float32Array.from(x));
    data.bandPower = power;
    const levels = circuits.map(levelsOf), loudest = levels[0][levels[0].length - 1];
    data.matchedDb = levels.map((row) => row.map((level) => Math.min(loudest - level, MOST_DB)));
    ownLevels.length = offsets.length = 0;
    let peak = 1e-9;
    for (const tabulated of tables) {
      const stepper = engine.makeStepper(tabulated);
      for (let n = 0; n < length; n += 1) peak = Math.max(peak, Math.abs(stepper.step(10, nodes, n)));
    }
    data.trueGain = 0.89 / peak;
    position = 0;
    if (node) node.port.postMessage({ nodes, ...loudness(), ...now, target: sounding(), offsets: [], position: 0 });
    else renderSoon();
  }
  // Loudness by dial from the EMF's K-weighted bands, for what other parts change of it.
  function levelsOf(circuit) {
    return data.levelDials.map((dial) => {
      const gains = engine.response(circuit, dial, data.bandHz);
      return 10 * Math.log10(gains.reduce((sum, db, i) => sum + data.bandPower[i] * 10 ** (db / 10), 1e-30));
    });
  }
  // At once with few rows of the dial, and with all of them when the hand rests.
  function replaced(design) {
    if (!tables) return;
    clearTimeout(refining[design]);
    put(design, QUICK_ROWS);
    refining[design] = setTimeout(() => {
      ownLevels[design] = ownLevels[design] || levelsOf(data.circuits[design]);
      offsets[design] = levelsOf(circuits[design]).map((level, i) => Math.min(ownLevels[design][i] - level, MOST_DB));
      put(design, data.rows);
    }, REFINE_MS);
  }
  function put(design, rows) {
    tables[design] = engine.tabulate(circuits[design], data.method, rate, rows);
    if (node) node.port.postMessage({ replace: { index: design, tabulated: tables[design], offsetDb: offsets[design] } });
    else renderSoon();
  }

  // Without an audio thread.
  function renderSoon() {
    clearTimeout(pending);
    pending = setTimeout(() => {
      if (source) { source.stop(); source.disconnect(); source = null; }
      if (!now.running) return;
      const buffer = clock.createBuffer(1, length, rate), out = buffer.getChannelData(0);
      const stepper = engine.makeStepper(tables[now.chosen]), dial = sounding();
      const gain = data.trueGain * 10 ** (engine.gainDb(now.chosen, now, dial, data, offsets) / 20);
      // Half a round first, so that the loop begins as it goes on.
      for (let n = length >> 1; n < length; n += 1) stepper.step(dial, nodes, n);
      for (let n = 0; n < length; n += 1) out[n] = gain * stepper.step(dial, nodes, n);
      source = new AudioBufferSourceNode(clock, { buffer, loop: true });
      source.connect(clock.destination);
      source.start();
      heardAt = clock.currentTime;
      position = 0;
    }, 150);
  }

  return {
    data, engine, circuits, levelsOf, now, tables: () => tables, nodes: () => nodes,
    replaceEmf,
    async ready(context) {
      loading = loading || load(context).then(() => setTimeout(refine, 200, 0));
      await loading;
    },
    async start(context) {
      await this.ready(context);
      tell({ running: true });
    },
    stop() { tell({ running: false }); },
    turn(dial) { tell({ target: dial, reference: null }); },
    // As at 10, and as loud as where the knob stands; the knob stays.
    asAtTen(on) {
      now.reference = on ? now.target : null;
      if (node) node.port.postMessage({ reference: now.reference, target: sounding() });
      else if (nodes) renderSoon();
    },
    choose(design) { tell({ chosen: design }); },
    level(name) { tell({ level: name }); },
    change(design, branches, value) {
      for (const i of branches) circuits[design].branches[i].value = value;
      replaced(design);
    },
    tone(dial) {
      // A thousandth of a percent of the track stands for none.
      const ohms = data.tone.ohms * Math.max(engine.fraction(data.tone.law, dial), 1e-5);
      circuits.forEach((circuit, design) => { circuit.branches[data.tone.branch].value = ohms; replaced(design); });
    },
    // What hangs on the output: "cable", all capacitance, or "input", all resistance.
    around(part, value) {
      circuits.forEach((circuit, design) => {
        for (const branch of circuit.branches) if (branch.part === part) branch.value = value;
        replaced(design);
      });
    },
    lengthS: () => (length ? length / rate : data.seconds),
    positionS: () => (length ? ((position / rate + (now.running ? clock.currentTime - heardAt : 0)) % (length / rate)) : 0),
  };
}
