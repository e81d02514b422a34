// On the audio thread: hands on what comes in, as it comes.
class Collect extends AudioWorkletProcessor {
  process([input]) {
    if (input.length) this.port.postMessage(input[0].slice());
    return true;
  }
}
registerProcessor("collect", Collect);
