// What an audio thread has, which the checker's own libraries leave out.
declare const sampleRate: number;
declare class AudioWorkletProcessor {
  constructor(options?: unknown);
  readonly port: MessagePort;
}
declare function registerProcessor(name: string, made: unknown): void;
