// The page's side of the engine: what it needs is made ready once, then what is turned, chosen and
// changed is passed on to the audio thread, and levels are measured beside it.
import { CIRCUIT_LATENCY, makeCore } from "./core.js";
import { REACH, STEPS_A_SECOND, feedingStage, fraction, nodeTaps, tabulate } from "./engine.js";
import { DIRT_LATENCY, curveOf, dirtTables } from "./dirt.js";
import { NOTICEABLY_LOUDER_LU, gainDb, levelAt, monotone } from "./loudness.js";
import { answer, inBands, looped } from "./measuring.js";

const SOME_DIALS = [0.25, 0.5, 1, 2, 3, 4, 5, 6, 7, 8, 9, 9.5, 9.8, 10];
const QUICK_ROWS = 257, REFINE_MS = 250, PEAK = 0.89, FADE_S = 0.008;
// By how much what was not measured yet may peak above what is taken for it.
const MARGIN_DB = 2;
// Of an audio thread, what a circuit may take.
const MOST_SHARE = 0.5;
const decibels = (size) => 20 * Math.log10(Math.max(size, 1e-9));

export function bytesOf(text) {
  const letters = atob(text), bytes = new Uint8Array(letters.length);
  // a tenth of Uint8Array.from's time
  for (let i = 0; i < bytes.length; i += 1) bytes[i] = letters.charCodeAt(i);
  return bytes.buffer;
}
// What convolves with an impulse response at the context's own rate.
export function convolverOf(context, impulse) {
  return new ConvolverNode(context, { disableNormalization: true,
    buffer: bufferOf(context, impulse) });
}
function bufferOf(context, samples) {
  const buffer = context.createBuffer(1, samples.length, context.sampleRate);
  buffer.copyToChannel(Float32Array.from(samples), 0);
  return buffer;
}
// What was packed by gzip.
const unpacked = (packed) => new Response(new Blob([packed]).stream().pipeThrough(
  new DecompressionStream("gzip"))).arrayBuffer();
const scriptUrl = (text) => `data:text/javascript;charset=utf-8,${encodeURIComponent(text)}`;

// Questions to the bench, answered in their order; in this thread where the browser starts no
// other.
function makeBench(source, core) {
  const waiting = new Map();
  let given = null, loop = {}, number = 0, worker = null, own = null;
  async function here(question) {
    own ??= core.then((bytes) => WebAssembly.compile(bytes)).then(makeCore);
    if (given) loop = looped(given);
    given = null;
    return answer(question, { ...loop, core: await own });
  }
  function alone() {
    worker = null;
    for (const [id, [done, question]] of waiting) {
      waiting.delete(id); setTimeout(() => done(here(question))); }
  }
  try {
    worker = new Worker(scriptUrl(source));
    worker.onmessage = ({ data: { id, found } }) =>
      { waiting.get(id)[0](found); waiting.delete(id); };
    worker.onerror = alone;
  } catch { worker = null; }
  const told = core.then((bytes) => { if (worker) worker.postMessage({ core: bytes }); });
  return {
    loop(another) { given = another; if (worker) worker.postMessage({ loop: another }); },
    ask: (question) => new Promise((done) => { told.then(() => {
      if (!worker) { setTimeout(() => done(here(question))); return; }
      number += 1;
      waiting.set(number, [done, question]);
      worker.postMessage({ id: number, ...question });
    }); }),
  };
}

// `heard` is what was loud before, for whatever plays next.
export function makeLive(data, sources, heard, hooks) {
  const levelled = hooks.measured || (() => {});
  const dials = data.levelDials, core = unpacked(bytesOf(data.core)),
    bench = makeBench(sources.bench, core);
  // Tables of what is under the hand must not wait for levels.
  const besides = makeBench(sources.bench, core), tabled = (design, rows) => besides.ask(
    { ask: "table", circuit: whole(design), rows,
      with: { method: data.method, rate, least: STEPS_A_SECOND[quality || "full"] } });
  const now = { target: 10, chosen: 0, level: "true", running: false, reference: null };
  // Where the circuit stands: at the knob, or at 10 in its place.
  const sounding = () => (now.reference === null ? now.target : 10);
  // In which situation the guitar is, and what its parts are by now, where the visitor changed
  // them.
  let at = 0, afresh = false;
  const situation = () => data.situations[at], changed = situation().designs.map(() => new Map());
  // What the designs feed: an index of data.dirts or none, its drive, a loudspeaker or none.
  const feeding = {}, circuits = [];
  // In how many steps circuits run: what this machine can, unless the visitor says otherwise.
  let quality = null;
  stand();
  const refining = [], clean = [], dirtsTables = new Map();
  let rate = 0, length = 0, nodes = null, impulse = null, bandPower = data.bandPower, fresh = false;
  let voice = null, rows = [], serial = 0, readying = null, voicing = Promise.resolve();
  let context = null, node = null, entry = null, dry = null, wet = null, source = null, pending = 0,
    position = 0, heardAt = 0, heardDial = 10, stream = null;
  // The part that is repeated and the place that was last set here, in seconds; and how often one
  // was,
  // so that what the thread tells of an earlier place is known as old.
  let region = null, sought = 0, jumps = 0;
  const repeated = () => (region && region.from * rate < length
    ? { from: Math.round(region.from * rate), to: Math.min(length, Math.round(region.to * rate)) }
      : { from: 0, to: length });
  const within = (spot, { from, to }) => (spot >= from && spot < to ? spot : from);
  const place = () => { position = within(Math.min(length - 1, Math.round(sought * rate)),
    repeated()); heardAt = context ? context.currentTime : 0; jumps += 1; };
  const tell = (message, moved) => { if (node) node.port.postMessage(message, moved);
    else if (context) renderSoon(); };

  // ---- making ready --------------------------------------------------------
  async function decoded(text) {
    return (await new OfflineAudioContext(1, 1, rate).decodeAudioData(
      bytesOf(text))).getChannelData(0);
  }
  async function prepare() {
    dirtsTables.clear();
    const scale = (data.speaker.scale * data.speaker.rate) / rate;
    impulse = (await decoded(data.speaker.impulse)).map((x) => x * scale);
    await playing(await decoded(data.emf), data.bandPower);
  }
  async function playing(samples, power) {
    bandPower = power;
    length = samples.length;
    place();
    bench.loop({ samples, method: data.method, rate });
    nodes = await bench.ask({ ask: "nodes" });
    fresh = true;
    await feed();
  }

  // ---- dirt, loudspeaker, levels -------------------------------------------
  function dirtNow() { return feeding.dirt === null ? null : data.dirts[feeding.dirt]; }
  function inputNow() { return dirtNow() || situation().amplifier; }
  const isPlain = () => feeding.dirt === null && !feeding.speaker && bandPower === data.bandPower;
  const stageNow = () => { const dirt = dirtNow(); return dirt && dirt.stage ? dirt : null; };
  function withDirt() {
    const dirt = dirtNow();
    if (stageNow()) return { spec: dirt,
      driven: situation().emfVolts * 10 ** (feeding.knobs.touch / 20) };
    return dirt && { spec: dirt, driven: dirt.knee * 10 ** (feeding.driveDb / 20) };
  }
  // A design with the circuit that it feeds, if it feeds one.
  const fed = (circuit) => (stageNow() ? feedingStage(circuit, stageNow().stage, feeding.knobs)
    : circuit);
  const whole = (design) => fed(circuits[design]);
  // What the designs feed has changed: drive and loudness are set anew, then it is heard.
  function feed() {
    const mine = ++serial;
    // What was measured was of another sound.
    rows = rows.map((row) => ({ ...row, measured: false }));
    voicing = voicing.then(async () => {
      if (mine !== serial || !nodes) return;
      const dirt = withDirt(), through = feeding.speaker ? impulse : null,
        given = { dirt, impulse: through };
      // Drive and loudness are set by the loudest situation that feeds the same; the others are
      // softer.
      const loudest = data.situations[situation().loudest],
        workshops = into(structuredClone(loudest.circuits[0]), dirtNow() || loudest.amplifier,
          loudest.cable), plain = isPlain();
      let volts = 1, ten, crest = loudest.crestDb;
      if (dirt) given.volts = volts = await bench.ask(
        { ask: "volts", circuit: fed(workshops), with: given });
      if (stageNow() && !quality) {
        const share = await bench.ask({ ask: "share", circuit: fed(workshops),
          with: { ...given, least: STEPS_A_SECOND.full } });
        quality = Object.keys(STEPS_A_SECOND).find((name) => share * STEPS_A_SECOND[name]
          < MOST_SHARE * STEPS_A_SECOND.full) || "half";
        hooks.chosenQuality();
      }
      if (plain) ten = { loudness: loudest.levelDb[0][dials.length - 1],
        peak: PEAK / data.trueGain };
      else {
        [ten] = await bench.ask(
          { ask: "levels", circuit: fed(workshops), dials: [10], with: given });
        // What cleans up peaks higher over its loudness, up to what the take does without dirt.
        const [undriven] = dirt ? await bench.ask({ ask: "levels", circuit: workshops, dials: [10],
          with: { impulse: through } }) : [ten];
        crest = MARGIN_DB + Math.max(crestOf(ten), crestOf(undriven));
        ten.peak *= 10 ** (MARGIN_DB / 20);
      }
      if (mine !== serial) return;
      const before = loudnessNow();
      voice = { dirt, volts, given, trueGain: PEAK / Math.max(ten.peak, 1e-9), ten,
        tenInBands: inBands(workshops, [10], data.bandHz, powers())[0], ownGain: 0, wanted: 0 };
      voice.ownGain = ownGain(dirt);
      voice.wanted = boundBy(crest);
      rows = circuits.map((circuit, design) =>
        (plain && unchanged(design) ? { levels: situation().levelDb[design], crest, measured: true }
          : { levels: roughly(design), crest, measured: false }));
      levelled();
      if (dirt && !stageNow()) dirt.tables = tablesOf(dirt.spec);
      await tellVoice(() => softly(before, NOTICEABLY_LOUDER_LU), mine);
      if (dry) fadeSpeaker();
      setTimeout(measure, 300, mine);
    });
    return voicing;
  }
  const crestOf = ({ loudness, peak }) => decibels(peak) - loudness;
  // As loud as the first design at 10, or as the peakiest of all that are compared allows.
  const boundBy = (crest) => Math.min(voice.ten.loudness, decibels(voice.ten.peak) - crest);
  // Once for each kind of dirt at a rate.
  function tablesOf(spec) {
    if (!dirtsTables.has(spec)) dirtsTables.set(spec, dirtTables(spec, rate));
    return dirtsTables.get(spec);
  }
  // Dirt at the visitor's own hand peaks at half of full scale; clean, what comes in goes out.
  function ownGain(dirt) {
    if (!dirt) return 1;
    if (stageNow()) return 0.5 / Math.max(voice.ten.peak, 1e-9);
    const curve = curveOf(dirt.spec);
    return 0.5 / Math.max(curve.at(dirt.driven), -curve.at(-dirt.driven));
  }
  // The circuits of the situation as they stand in the workshop, but for the parts that were
  // changed.
  function stand() {
    Object.assign(feeding, structuredClone(situation().feeding));
    situation().circuits.forEach((circuit, design) => {
      circuits[design] = into(structuredClone(circuit), inputNow());
      for (const [part, value] of changed[design]) fit(design, part, value);
    });
  }
  function fit(design, part, value) {
    for (const i of situation().designs[design].parts[part].branches) circuits[design].branches[
      i].value = value;
  }
  function into(circuit, { ohms, farads }, cable = situation().cable) {
    for (const branch of circuit.branches) {
      if (branch.part === "input") branch.value = ohms;
      if (branch.part === "cable") branch.value = cable + farads;
    }
    return circuit;
  }
  const unchanged = (design) => circuits[design].branches.every(
    (b, i) => b.value === situation().circuits[design].branches[i].value);
  async function tellVoice(coming = () => ({}), mine = serial) {
    if (!context) return;
    const tables = stageNow()
      ? await Promise.all(circuits.map((_, design) => tabled(design, QUICK_ROWS)))
      : circuits.map((circuit) => tabulate(circuit, data.method, rate, QUICK_ROWS));
    if (mine !== serial) return;
    const { dirt, volts, trueGain, ownGain: own, wanted } = voice, stage = stageNow();
    if (!tables.every(Boolean)) { hooks.dead(); return; }
    if (fresh) tell({ nodes, ...repeated(), position, jumps, target: sounding() });
    fresh = false;
    tell({ ...coming(), voice: { afresh, tables, circuit: stage && stage.kind,
      dirt: stage ? null : dirt, driven: dirt && dirt.driven, volts, trueGain, ownGain: own,
      wanted, levels: rows.map((row) => row.levels) } }, tables.map(({ table }) => table.buffer));
    afresh = false;
    circuits.forEach((_, design) => refine(design, 200 + 20 * design));
  }
  // Power that is heard in the EMF's bands; and loudness by dial from it.
  const powers = () => bandPower.map(
    (power, i) => power * (feeding.speaker ? data.speaker.bandGains[i] : 1));
  const levelsOf = (circuit, some = inBands(circuit, SOME_DIALS, data.bandHz, powers())) =>
    monotone(SOME_DIALS, some, dials);
  // Until it is measured: from the bands, and of dirt what it evens out.
  function roughly(design, some) {
    clean[design] = levelsOf(circuits[design], some).map((level) => level - voice.tenInBands);
    return clean[design].map(
      (louder) => voice.ten.loudness + (voice.dirt ? saturating(louder) : louder));
  }
  const saturating = (louder) => Math.min(0, feeding.driveDb - 3 + louder);
  // Only where the table is heard, for it keeps a core busy: the chosen one first.
  let busy = 0;
  async function measure(mine) {
    if (!voice || busy === mine) return;
    busy = mine;
    for (const design of [now.chosen, ...circuits.keys()]) {
      if (mine !== serial || (now.level === "true" && now.reference === null)) break;
      if (rows[design].measured) continue;
      // A few dials at a time, so that other questions come between.
      const row = rows[design], found = [];
      for (let i = 0; i < data.measuredDials.length && rows[design] === row && mine === serial;
        i += 3) {
        found.push(...await bench.ask({ ask: "levels", circuit: whole(design),
          dials: data.measuredDials.slice(i, i + 3), with: voice.given }));
      }
      if (mine !== serial || rows[design] !== row) continue;
      put(design, monotone(data.measuredDials, found.map((one) => one.loudness), dials), true,
        Math.max(...found.map(crestOf)));
      if (rows.every((one) => one.measured)) bound();
      levelled();
    }
    if (busy === mine) busy = 0;
  }
  function put(design, levels, measured, crest = rows[design].crest) {
    rows[design] = { levels, crest, measured };
    tell({ row: { index: design, levels } });
    if (!measured) levelled();
  }
  // All are known: by the peakiest of them, all are as loud as each other.
  function bound() {
    const before = loudnessNow();
    voice.wanted = boundBy(Math.max(...rows.map((row) => row.crest)));
    tell({ wanted: voice.wanted, ...softly(before, NOTICEABLY_LOUDER_LU) });
  }
  // What is heard now, in LUFS of the loop; null before anything is.
  function loudnessNow() {
    if (!voice) return null;
    const row = rows[now.chosen].levels, dial = sounding();
    return levelAt(row, dials, dial) + 20 * Math.log10(voice.trueGain) + gainDb(
      row, now, dial, { dials, wanted: voice.wanted });
  }
  // What has become louder comes up slowly: goes with the message that makes it so.
  function softly(before, most) {
    const louder = before === null ? 0 : loudnessNow() - before;
    return louder > most ? { coming: 10 ** (-louder / 20) } : {};
  }
  // Something else is heard: another design, loudness or reference.
  function change(wanted) {
    const before = loudnessNow();
    Object.assign(now, wanted);
    tell({ ...wanted, target: sounding(), ...softly(before, NOTICEABLY_LOUDER_LU) });
    measure(serial);
  }

  // ---- parts ---------------------------------------------------------------
  // What is heard at once with few rows of the dial, and all with all of them when the hand rests.
  function replaced(design) {
    if (!voice) return;
    rows[design].measured = false;
    if (design === now.chosen) quicken(); else stale.add(design);
    refine(design, REFINE_MS);
    clearTimeout(measuring);
    measuring = setTimeout(() => measure(++serial), 2 * REFINE_MS);
  }
  const stale = new Set();
  let quickly = false, again = false;
  async function quicken() {
    again = true;
    if (quickly) return;
    quickly = true;
    while (again) {
      again = false;
      const design = now.chosen, circuit = circuits[design];
      const [tabulated, some] = await Promise.all([tabled(design, QUICK_ROWS), besides.ask(
        { ask: "bands", circuit, dials: SOME_DIALS, with: { hz: data.bandHz, power: powers() } })]);
      // What came with all rows, or was measured, meanwhile is better.
      if (refining[design]) send(design, tabulated);
      if (!rows[design].measured) put(design, roughly(design, some), false);
    }
    quickly = false;
  }
  let measuring = 0;
  function refine(design, after) {
    clearTimeout(refining[design]);
    refining[design] = setTimeout(async () => {
      const mine = refining[design], tabulated = await tabled(design, data.rows);
      if (mine !== refining[design]) return;
      if (stale.delete(design) && !rows[design].measured) put(design, roughly(design), false);
      send(design, tabulated);
      refining[design] = 0;
    }, after);
  }
  function send(index, tabulated) {
    if (!tabulated) { hooks.dead(); return; }
    if (context) tell({ replace: { index, tabulated } }, [tabulated.table.buffer]);
  }

  // ---- sound ---------------------------------------------------------------
  function ready(wantedRate) {
    if (wantedRate !== rate) { rate = wantedRate; readying = prepare(); }
    return readying;
  }
  async function connect(into_) {
    await ready(into_.sampleRate);
    await voicing;
    if (context === into_) return;
    context = into_;
    entry = new GainNode(context);
    dry = new GainNode(context, { gain: feeding.speaker ? 0 : 1 });
    wet = new GainNode(context, { gain: feeding.speaker ? 1 : 0 });
    entry.connect(dry).connect(context.destination);
    entry.connect(convolverOf(context, impulse)).connect(wet).connect(context.destination);
    try {
      await context.audioWorklet.addModule(scriptUrl(sources.thread));
      node = new AudioWorkletNode(context, "live", { numberOfInputs: 1, outputChannelCount: [2],
        processorOptions: { core: await core } });
      node.port.postMessage({ taps: nodeTaps(data.method.nodes), dials, ...now,
        target: sounding() });
      node.port.onmessage = ({ data: told }) =>
        { heardDial = told.dial; if (told.jumps === jumps) {
          ({ position } = told); heardAt = context.currentTime; } };
      node.connect(entry);
    } catch {
      node = null;
      hooks.alone(); // no audio thread here: the loop is rendered anew when the knob rests
    }
    await tellVoice();
  }
  function fadeSpeaker() {
    for (const [gain, on] of [[dry, !feeding.speaker], [wet, feeding.speaker]]) {
      gain.gain.setTargetAtTime(on ? 1 : 0, context.currentTime, FADE_S);
    }
  }
  // Without an audio thread.
  function renderSoon() {
    clearTimeout(pending);
    pending = setTimeout(async () => {
      if (source) { source.stop(); source.disconnect(); source = null; }
      if (!now.running || !voice) return;
      const dial = sounding(), row = rows[now.chosen].levels, mine = pending;
      const out = await bench.ask({ ask: "sound", circuit: whole(now.chosen), dials: [dial],
        with: { ...voice.given, least: STEPS_A_SECOND.half } });
      if (mine !== pending || !now.running) return;
      const gain = voice.trueGain * 10 ** (gainDb(
        row, now, dial, { dials, wanted: voice.wanted }) / 20);
      source = new AudioBufferSourceNode(context,
        { buffer: bufferOf(context, out.map((x) => gain * x)), loop: true });
      source.connect(entry);
      source.start();
      heardAt = context.currentTime;
      position = 0;
    }, 150);
  }

  return {
    data, situation, circuits, levelsOf, now, feeding, ready, rows: () => rows, voice: () => voice,
      rate: () => rate, refined: () => refining.every((one) => !one),
        measured: () => rows.length > 0 && rows.every((row) => row.measured),
        unmeasured: () => rows.filter((row) => !row.measured).length,
    node: () => node, heardDial: () => heardDial, loudnessNow,
    async start(into_) {
      await connect(into_);
      now.running = true;
      tell({ running: true, ...softly(heard.loudness, 0) });
    },
    stop() {
      if (!now.running) return;
      heard.loudness = loudnessNow();
      now.running = false;
      tell({ running: false });
    },
    turn(dial) {
      Object.assign(now, { target: dial, reference: null });
      tell({ target: dial, reference: null });
    },
    // As at 10, and as loud as where the knob stands; the knob stays.
    asAtTen(on) { change({ reference: on ? now.target : null }); },
    choose(design) { change({ chosen: design }); },
    level(name) { change({ level: name }); },
    change(design, part, value) {
      changed[design].set(part, value);
      fit(design, part, value);
      replaced(design);
    },
    // Another switch position, cable or input, as the workshop has it.
    enter(index) {
      at = index;
      afresh = true; // the charges of one wiring are not those of another
      refining.forEach(clearTimeout);
      refining.fill(0);
      stand();
      return feed();
    },
    tone(dial) {
      // A thousandth of a percent of the track stands for none.
      const { tone } = situation(), ohms = tone.ohms * Math.max(fraction(tone.law, dial), 1e-5);
      circuits.forEach((circuit, design) => {
        circuit.branches[tone.branch].value = ohms; replaced(design); });
    },
    // What hangs on the output: "cable", in farads without the input's own, or "input", in ohms.
    around(part, value) {
      circuits.forEach((circuit, design) => {
        for (const branch of circuit.branches) if (
          branch.part === part) branch.value = part === "cable" ? value + inputNow().farads : value;
        replaced(design);
      });
    },
    // Another dirt, drive or loudspeaker; the cable's value stays, the input is the dirt's.
    feed({ cable, ...other }) {
      const before = dirtNow();
      Object.assign(feeding, other);
      if (dirtNow() !== before) for (const circuit of circuits) into(circuit, inputNow(), cable);
      return feed();
    },
    // A knob of the circuit that the guitar feeds: heard at once, levelled when it rests.
    knob(name, value) {
      const before = loudnessNow(), harder = value - feeding.knobs[name];
      feeding.knobs[name] = value;
      if (!voice || !stageNow()) return;
      if (name === "touch") {
        voice.volts *= 10 ** (harder / 20);
        tell({ volts: voice.volts, ...softly(before, NOTICEABLY_LOUDER_LU) });
      } else circuits.forEach((_, design) => replaced(design));
      clearTimeout(measuring);
      measuring = setTimeout(feed, 3 * REFINE_MS);
    },
    // The drive under the hand: heard at once, levelled when it rests.
    drive(driveDb) {
      if (!voice || !voice.dirt) { feeding.driveDb = driveDb; return; }
      const before = loudnessNow(), earlier = clean.map((levels) => levels.map(saturating));
      voice.volts *= 10 ** ((driveDb - feeding.driveDb) / 20);
      feeding.driveDb = driveDb;
      // By what it roughly makes of each dial: a gain that the old sound needed would lift the new
      // one too.
      clean.forEach((levels, design) => put(design,
        levels.map((louder, i) => rows[design].levels[i] + saturating(louder) - earlier[design][i]),
          false));
      tell({ volts: voice.volts, ...softly(before, NOTICEABLY_LOUDER_LU) });
      clearTimeout(measuring);
      measuring = setTimeout(feed, REFINE_MS);
    },
    // Another recording's EMF: what plays goes on with it.
    async replaceEmf(samples, power) {
      region = null;
      sought = 0;
      await playing(Float32Array.from(samples), power);
    },
    // What is repeated, in seconds of the loop.
    region(from, to) {
      sought = within(this.positionS(), { from, to });
      region = { from, to };
      if (!length) return;
      place();
      tell({ jump: { ...repeated(), jumps } });
    },
    seek(seconds) {
      sought = seconds;
      if (!length) return;
      place();
      tell({ jump: { position, jumps } });
    },
    // The visitor's own guitar in the loop's place; null for the loop again.
    listen(chain) {
      if (stream) stream.disconnect();
      stream = chain;
      if (chain) chain.connect(node);
      tell({ listening: chain !== null });
    },
    // Of a design, over dials, the strings picked so much harder.
    dirtiness: (design, at_, harder) => bench.ask({ ask: "dirtiness", circuit: whole(design),
      dials: at_, with: { ...voice.given, harder } }),
    stage: stageNow, quality: () => quality,
    steps(name) { quality = name; return feed(); },
    latencyS: () => (REACH - 1 + (feeding.dirt === null ? 0 : stageNow() ? CIRCUIT_LATENCY
      : DIRT_LATENCY)) / rate,
    lengthS: () => (length ? length / rate : data.seconds),
    positionS() {
      if (!length) return sought;
      const passed = now.running && context ? (context.currentTime - heardAt) * rate : 0,
        { from, to } = repeated();
      return (position < to ? from + ((position - from + passed) % (to - from)) : position) / rate;
    },
  };
}
