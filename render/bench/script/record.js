// Recording through the audio interface: as it comes, without the browser's own treatment, as WAV.
const CHUNK = 128, SWEEP_S = 6, FROM_HZ = 30, QUIET = 0.25;

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
export function sweepOf(rate) {
  const count = SWEEP_S * rate, ratio = Math.log((0.45 * rate) / FROM_HZ),
    fade = Math.round(0.02 * rate);
  return Float32Array.from({ length: count }, (_, i) => QUIET * Math.min(1, i / fade,
    (count - i) / fade) * Math.sin((2 * Math.PI * FROM_HZ * SWEEP_S / ratio) * (
    Math.exp((i / count) * ratio) - 1)));
}

// What comes in until it is told to stop; `playing` is heard meanwhile. `level` hears its peaks.
export async function record({ playing = null, level = () => {} } = {}) {
  const stream = await navigator.mediaDevices.getUserMedia({ audio: { echoCancellation: false,
    noiseSuppression: false, autoGainControl: false, channelCount: 1 } });
  const context = new AudioContext(), pieces = [];
  await context.audioWorklet.addModule("/script/collect.js");
  const node = new AudioWorkletNode(context, "collect", { numberOfOutputs: 0 });
  node.port.onmessage = ({ data }) => { pieces.push(data);
    level(data.reduce((most, x) => Math.max(most, Math.abs(x)), 0)); };
  context.createMediaStreamSource(stream).connect(node);
  const rate = context.sampleRate;
  let over = null;
  if (playing) {
    const samples = playing(rate), buffer = context.createBuffer(1, samples.length, rate),
      source = context.createBufferSource();
    buffer.copyToChannel(samples, 0);
    source.buffer = buffer;
    source.connect(context.destination);
    over = new Promise((done) => { source.onended = () => setTimeout(done, 500); });
    source.start(context.currentTime + 0.3);
  }
  let gone = false;
  stream.getAudioTracks()[0].addEventListener("ended", () => { gone = true; });
  return {
    rate, over,
    async stop() {
      stream.getTracks().forEach((track) => track.stop());
      await context.close();
      if (gone) throw new Error("the audio interface went away; plug it in and record again");
      const samples = new Float32Array(pieces.length * CHUNK);
      pieces.forEach((piece, i) => samples.set(piece, i * CHUNK));
      return wavOf(samples, rate);
    },
  };
}
