// Recording through the audio interface: as it comes, without the browser's own treatment, as WAV.
const CHUNK = 128, FROM_HZ = 30, BEFORE_S = 0.3, AFTER_MS = 1000;
const SWEEP_S = 6, PROBE_S = 1.5, WANTED_PEAK = 0.3, PROBES = [0.02, 0.1, 0.5], LOUDEST = 0.9;

export function wavOf(samples, rate) {
  const view = new DataView(new ArrayBuffer(44 + 4 * samples.length));
  const put = (at, word) => [...word].forEach((c, i) => view.setUint8(at + i, c.charCodeAt(0)));
  put(0, "RIFF"); view.setUint32(4, 36 + 4 * samples.length, true); put(8, "WAVEfmt ");
  view.setUint32(16, 16, true);
  view.setUint16(20, 3, true); // floats
  view.setUint16(22, 1, true);
  view.setUint32(24, rate, true); view.setUint32(28, 4 * rate, true); view.setUint16(32, 4, true);
  view.setUint16(34, 32, true); put(36, "data"); view.setUint32(40, 4 * samples.length, true);
  samples.forEach((x, i) => view.setFloat32(44 + 4 * i, x, true));
  return new Blob([view], { type: "audio/wav" });
}

// An exponential sweep to beyond what is heard, its ends faded.
export function sweepOf(rate, strength, seconds = SWEEP_S) {
  const count = seconds * rate, ratio = Math.log((0.45 * rate) / FROM_HZ),
    fade = Math.round(0.02 * rate);
  return Float32Array.from({ length: count }, (_, i) => strength * Math.min(1, i / fade,
    (count - i) / fade) * Math.sin((2 * Math.PI * FROM_HZ * seconds / ratio) * (
    Math.exp((i / count) * ratio) - 1)));
}

// One sweep, played and recorded; what comes in lies behind what was played by whatever it takes.
export async function swept(strength, seconds = SWEEP_S) {
  const running = await record({ playing: (rate) => sweepOf(rate, strength, seconds) });
  await running.over;
  return { samples: await running.samples(), rate: running.rate };
}

// How strong the sweep has to leave, to come back strong and not clipped: short ones tell, the
// quietest first.
export async function strengthFound() {
  for (const strength of PROBES) {
    const { samples, rate } = await swept(strength, PROBE_S);
    const before = peak(samples.subarray(0, Math.round(0.8 * BEFORE_S * rate)));
    const heard = peak(samples);
    if (heard > 0.98) throw new Error(
      "even a quiet sweep overdrives the input: turn the interface's gain down");
    if (heard > 10 * before) return Math.min(LOUDEST, strength * WANTED_PEAK / heard);
  }
  throw new Error("nothing of the sweep comes in: is its output turned up, the coil over the"
    + " pickup, and the guitar at the input?");
}
const peak = (samples) => samples.reduce((most, x) => Math.max(most, Math.abs(x)), 0);

// What comes in until it is told to stop; `playing` is heard meanwhile. `level` hears its peaks.
/**
 * @param {{ playing?: ((rate: number) => Float32Array<ArrayBuffer>) | null,
 *   level?: (peak: number) => void }} [how]
 */
export async function record({ playing = null, level = () => {} } = {}) {
  const stream = await navigator.mediaDevices.getUserMedia({ audio: { echoCancellation: false,
    noiseSuppression: false, autoGainControl: false, channelCount: 1 } });
  const context = new AudioContext(), pieces = [];
  await context.audioWorklet.addModule("/script/collect.js");
  const node = new AudioWorkletNode(context, "collect", { numberOfOutputs: 0 });
  node.port.onmessage = ({ data }) => { pieces.push(data);
    level(peak(data)); };
  context.createMediaStreamSource(stream).connect(node);
  const rate = context.sampleRate;
  let over = null;
  if (playing) {
    const samples = playing(rate), buffer = context.createBuffer(1, samples.length, rate),
      source = context.createBufferSource();
    buffer.copyToChannel(samples, 0);
    source.buffer = buffer;
    source.connect(context.destination);
    over = new Promise((done) => { source.onended = () => setTimeout(done, AFTER_MS); });
    source.start(context.currentTime + BEFORE_S);
  }
  let gone = false;
  stream.getAudioTracks()[0].addEventListener("ended", () => { gone = true; });
  return {
    rate, over,
    async samples() {
      stream.getTracks().forEach((track) => track.stop());
      await context.close();
      if (gone) throw new Error("the audio interface went away; plug it in and record again");
      const samples = new Float32Array(pieces.length * CHUNK);
      pieces.forEach((piece, i) => samples.set(piece, i * CHUNK));
      return samples;
    },
  };
}
