// The rendered recordings: the archive, and the fallback. All designs of a place run side by side
// from one instant; switching only moves gains.
import { bytesOf } from "./live.js";
import { NOTICEABLY_LOUDER_LU, RISE_DB_A_SECOND } from "./loudness.js";

const FADE_S = 0.008;

export function makeRecordings(pieces, count, state, heard) {
  const decoded = new Map();
  let voices = null, buffers = null, startedAt = 0, out = null;
  // A situation without dirt has one voice, clean.
  const has = (voice) => pieces.some((p) => p.situation === state.situation && p.voice === voice),
    voiceNow = () => (has(state.voice) ? state.voice : "clean");
  const pieceOf = (design) => pieces.find((p) =>
    p.situation === state.situation && p.design === design && p.voice === voiceNow() && String(
      p.dial ?? "sweep") === state.place);
  const gainDbOf = (design) => pieceOf(design)[state.level === "true" ? "trueDb" : "matchedDb"];
  const gainOf = (design) => 10 ** (gainDbOf(design) / 20);
  const loudnessOf = (design) => { const { loudness } = pieceOf(design);
    return loudness === null ? null : loudness + gainDbOf(design); };
  async function loadBuffers(context) {
    const wanted = [...Array(count).keys()].map(pieceOf);
    // What is not played now is decoded again when it is.
    for (const piece of decoded.keys()) if (!wanted.includes(piece)) decoded.delete(piece);
    return Promise.all(wanted.map(async (piece) => {
      if (!decoded.has(piece)) decoded.set(piece,
        await context.decodeAudioData(bytesOf(piece.audio)));
      return decoded.get(piece);
    }));
  }
  function startVoices(context, loaded, chosen, when, offset, loop) {
    out = new GainNode(context, { gain: 0 });
    out.connect(context.destination);
    out.gain.setTargetAtTime(1, when, FADE_S / 4);
    return loaded.map((buffer, design) => {
      const source = new AudioBufferSourceNode(context, { buffer, loop });
      const gain = new GainNode(context, { gain: design === chosen ? gainOf(design) : 0 });
      source.connect(gain).connect(out);
      source.start(when, offset);
      return { source, gain };
    });
  }
  function fadeTo(running, chosen, when) {
    running.forEach(({ gain }, design) => {
      gain.gain.cancelScheduledValues(when);
      gain.gain.setTargetAtTime(design === chosen ? gainOf(design) : 0, when, FADE_S / 4);
    });
  }
  // What is louder than what was heard before comes up slowly.
  function softly(chosen, when, most) {
    const loudness = loudnessOf(chosen), louder = heard.loudness === null || loudness === null ? 0
      : loudness - heard.loudness;
    if (louder > most) {
      out.gain.cancelScheduledValues(when);
      out.gain.setValueAtTime(10 ** (-louder / 20), when);
      out.gain.exponentialRampToValueAtTime(1, when + louder / RISE_DB_A_SECOND);
    }
    heard.loudness = loudness ?? heard.loudness;
  }
  return {
    has, loadBuffers, startVoices, fadeTo,
    cached: () => decoded.size,
    playing: () => voices !== null,
    lengthS: () => (buffers ? Math.min(...buffers.map((b) => b.duration))
      : (pieceOf(0) || { seconds: 0 }).seconds),
    positionS(context, loop) {
      const passed = Math.max(0, context.currentTime - startedAt), length = this.lengthS();
      return loop ? passed % length : Math.min(passed, length);
    },
    async load(context) { buffers = await loadBuffers(context); },
    start(context, chosen, offset, loop, ended) {
      const when = context.currentTime + 0.02;
      voices = startVoices(context, buffers, chosen, when, offset, loop);
      softly(chosen, when, 0);
      startedAt = when - offset;
      if (!loop) voices[0].source.onended = ended;
    },
    choose(context, chosen) {
      if (!voices) return;
      softly(chosen, context.currentTime, NOTICEABLY_LOUDER_LU);
      fadeTo(voices, chosen, context.currentTime);
    },
    // Faded out, so that nothing clicks.
    silence(context) {
      if (!voices) return;
      const ending = out, until = context.currentTime + 5 * FADE_S;
      ending.gain.cancelScheduledValues(context.currentTime);
      ending.gain.setTargetAtTime(0, context.currentTime, FADE_S / 2);
      for (const { source } of voices) { source.onended = null; source.stop(until); }
      setTimeout(() => ending.disconnect(), 1000 * 6 * FADE_S);
      voices = null;
    },
    forget() { buffers = null; },
    startedAtS: () => startedAt,
    fadedIn: () => (out ? out.gain.value : 0),
  };
}
