// Questions to the bench's server: what it answers, or an error in its words.
async function answered(response) {
  const told = await response.json().catch(() => ({}));
  if (response.ok) return told;
  throw Object.assign(new Error(told.error || "the bench does not answer"),
    { status: response.status });
}
// Its own words where nothing answers.
/** @type {typeof fetch} */
const sent = (...request) => fetch(...request).catch((error) => {
  if (error.name === "AbortError") throw error;
  throw Object.assign(new Error("the bench does not answer; is it still running?"), { status: 0 });
});
const json = (method, body) => ({ method, headers: { "Content-Type": "application/json" },
  body: JSON.stringify(body) });

export const get = async (path, signal) => answered(await sent(path, { signal }));
export const post = async (path, body = {}) => answered(await sent(path, json("POST", body)));
export const put = async (path, body) => answered(await sent(path, json("PUT", body)));
export const upload = async (path, blob, type) =>
  answered(await sent(path, { method: "PUT", headers: { "Content-Type": type }, body: blob }));

// Long work: how far it is as it goes, at last what came of it. Whoever aborts ends it there too.
/**
 * @param {string} path
 * @param {object} body
 * @param {{ signal?: AbortSignal, told?: (done: number, of: number) => void }} [how]
 */
export async function work(path, body, { signal, told = () => {} } = {}) {
  const response = await sent(path, { ...json("POST", body), signal });
  if (!response.ok) return answered(response);
  const reader = response.body.pipeThrough(new TextDecoderStream()).getReader();
  let text = "";
  for (;;) {
    const { done, value } = await reader.read();
    if (done) throw new Error("the bench stopped before it was done");
    const events = (text + value).split("\n\n");
    text = events.pop();
    for (const event of events) {
      const found = JSON.parse(event.slice("data: ".length));
      if (found.error) throw new Error(found.error);
      if (found.result) return { ...found.result, remarks: found.remarks };
      told(found.done, found.of);
    }
  }
}
