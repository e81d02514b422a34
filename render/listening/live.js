"use strict";
// The engine at work in the audio thread, and what the page tells it.

// Runs in the audio thread: every design steps along, and the chosen one is heard, so that
// switching finds each circuit as it would have been.
function registerLive(engine) {
  const KNOB_S = 0.012, FADE_S = 0.004, DIALS_A_SECOND = 120, TOLD_S = 0.03;
  class Live extends AudioWorkletProcessor {
    constructor() {
      super();
      Object.assign(this, { nodes: null, steppers: [], gains: [], position: 0, dial: 10, target: 10, chosen: 0, level: "true", running: false, master: 0, told: 0, data: null });
      this.port.onmessage = ({ data }) => this.hear(data);
    }
    hear(data) {
      if (data.nodes) { this.nodes = data.nodes; this.data = data; this.dial = this.target = data.dial; }
      (data.tables || []).forEach((tabulated, i) => {
        const stepper = engine.makeStepper(tabulated);
        if (this.steppers[i]) stepper.adopt(this.steppers[i].states());
        this.steppers[i] = stepper;
        this.gains[i] = 0;
      });
      for (const key of ["target", "chosen", "level", "running"]) if (key in data) this[key] = data[key];
      if ("position" in data) this.position = data.position;
    }
    wanted(design) {
      if (design !== this.chosen) return 0;
      if (this.level === "true") return this.data.trueGain;
      const row = this.data.matchedDb[design], step = this.data.levelDials[0];
      const at = Math.min(Math.max(this.dial / step - 1, 0), row.length - 1), i = Math.min(Math.floor(at), row.length - 2);
      return this.data.trueGain * 10 ** ((row[i] + (at - i) * (row[i + 1] - row[i])) / 20);
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
        out[n] = this.master * sum;
        this.position += 1;
        if (this.position === length) this.position = 0;
      }
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

// The page's side: loads the engine once, then passes on what is turned and chosen.
function makeLive(data, say) {
  const engine = makeEngine();
  let node = null, loading = null, rate = data.rate, length = 0, position = 0, heardAt = 0, clock = null;
  let nodes = null, tables = null, source = null, pending = 0;
  const now = { target: 10, chosen: 0, level: "true", running: false };
  const bytes = () => Uint8Array.from(atob(data.emf), (c) => c.charCodeAt(0)).buffer;
  const workletText = () => `const makeEngine = ${makeEngine.toString()};\nconst registerLive = ${registerLive.toString()};\nregisterLive(makeEngine());`;

  async function load(context) {
    clock = context;
    rate = context.sampleRate;
    const emf = (await context.decodeAudioData(bytes())).getChannelData(0);
    length = emf.length;
    nodes = engine.emfNodes(emf, data.method.nodes).map((x) => Float32Array.from(x));
    tables = data.circuits.map((circuit) => engine.tabulate(circuit, data.method, rate, data.rows));
    try {
      await context.audioWorklet.addModule(`data:text/javascript;charset=utf-8,${encodeURIComponent(workletText())}`);
      node = new AudioWorkletNode(context, "live", { numberOfInputs: 0, outputChannelCount: [2] });
      const levels = { trueGain: data.trueGain, matchedDb: data.matchedDb, levelDials: data.levelDials };
      node.port.postMessage({ nodes, tables, dial: now.target, ...levels, ...now });
      node.port.onmessage = ({ data: told }) => { position = told.position; heardAt = clock.currentTime; say(told.dial); };
      node.connect(context.destination);
    } catch {
      say(null); // no audio thread here: the loop is rendered anew when the knob rests
    }
  }
  const tell = (change) => {
    Object.assign(now, change);
    if (node) node.port.postMessage(change);
    else if (nodes) renderSoon();
  };

  // Without an audio thread.
  function renderSoon() {
    clearTimeout(pending);
    pending = setTimeout(() => {
      if (source) { source.stop(); source.disconnect(); source = null; }
      if (!now.running) return;
      const buffer = clock.createBuffer(1, length, rate), out = buffer.getChannelData(0);
      const stepper = engine.makeStepper(tables[now.chosen]);
      for (let round = 0; round < 2; round += 1) for (let n = round ? 0 : length >> 1; n < length; n += 1) out[n] = gainAt(now.chosen) * stepper.step(now.target, nodes, n);
      source = new AudioBufferSourceNode(clock, { buffer, loop: true });
      source.connect(clock.destination);
      source.start();
      heardAt = clock.currentTime;
      position = 0;
    }, 150);
  }
  function gainAt(design) {
    if (now.level === "true") return data.trueGain;
    const row = data.matchedDb[design], i = Math.round(Math.min(Math.max(now.target / data.levelDials[0] - 1, 0), row.length - 1));
    return data.trueGain * 10 ** (row[i] / 20);
  }

  return {
    data, engine, now, tables: () => tables, nodes: () => nodes,
    async start(context) {
      loading = loading || load(context);
      await loading;
      tell({ running: true });
    },
    stop() { tell({ running: false }); },
    turn(dial) { tell({ target: dial }); },
    choose(design) { tell({ chosen: design }); },
    level(name) { tell({ level: name }); },
    lengthS: () => (length ? length / rate : data.seconds),
    positionS: () => (length ? ((position / rate + (now.running ? clock.currentTime - heardAt : 0)) % (length / rate)) : 0),
  };
}
