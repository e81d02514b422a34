// What is worked out beside the page's own thread, one question after the other.
import { answer } from "./measuring.js";

let loop = {};
onmessage = ({ data }) => {
  if (data.loop) { loop = data.loop; return; }
  const found = answer(data, loop);
  postMessage({ id: data.id, found }, found.table ? [found.table.buffer] : []);
};
