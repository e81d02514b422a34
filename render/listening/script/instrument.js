// The visitor's own guitar through the audio interface, un-loaded as it comes in.
import { convolverOf } from "./live.js";

const PLAIN = { echoCancellation: false, noiseSuppression: false, autoGainControl: false,
  channelCount: 1 };

// Asks the browser for the input; gives what to connect to the engine, and how late it all is.
export async function openInstrument(context, impulse) {
  const stream = await navigator.mediaDevices.getUserMedia({ audio: PLAIN, video: false });
  const source = new MediaStreamAudioSourceNode(context, { mediaStream: stream }),
    unload = convolverOf(context, impulse);
  const [track] = stream.getAudioTracks();
  /** @type {MediaTrackSettings & { latency?: number }} */
  const settings = track.getSettings();
  source.connect(unload);
  return {
    chain: unload,
    latencyS: (context.baseLatency || 0) + (context.outputLatency || 0) + (settings.latency || 0),
    // Filters that cannot be switched off would change what is heard.
    filtered: ["echoCancellation", "noiseSuppression", "autoGainControl"].some(
      (name) => settings[name] === true),
    name: track.label,
    close() { source.disconnect(); for (const one of stream.getTracks()) one.stop(); },
  };
}
