// What is worked out beside the page's own thread, one question after the other.
import { answer, looped } from "./measuring.js";

let loop = {};
onmessage = ({ data }) => {
  if (data.loop) { loop = looped(data.loop); return; }
  const found = answer(data, loop), large = { nodes: found, table: [found.table] }[data.ask] || [];
  postMessage({ id: data.id, found }, large.map((array) => array.buffer));
};
