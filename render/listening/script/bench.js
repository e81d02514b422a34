// What is worked out beside the page's own thread, one question after the other.
import { makeCore } from "./core.js";
import { answer, looped } from "./measuring.js";

let loop = {}, core = null;
onmessage = ({ data }) => {
  if (data.core) { core = makeCore(new WebAssembly.Module(data.core)); return; }
  if (data.loop) { loop = looped(data.loop); return; }
  const found = answer(data, { ...loop, core }),
    large = { nodes: found, table: [found && found.table] }[data.ask] || [];
  postMessage({ id: data.id, found }, large.filter(Boolean).map((array) => array.buffer));
};
