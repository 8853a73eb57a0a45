// Asking the server. Nothing is kept there: each question carries the whole setup.

async function refusal(response) {
  const said = await response.json().catch(() => null);
  return wrong(said ?? { error: `The server answered ${response.status} ${response.statusText}.` });
}

/** What the server refused as an Error: its sentence, and `where`, the word or setting that it is about. */
export const wrong = ({ error, where }) => Object.assign(new Error(error), { where });

/** Ask; a refusal becomes an Error as of `wrong`. */
export const post = (path, body, { signal } = {}) =>
  send(path, { "content-type": "application/json" }, JSON.stringify(body), signal);

/** The same with a file, which follows as it is: to the page's own server. */
export const postFile = (path, asked, file, { signal } = {}) =>
  send(path, { "content-type": "application/octet-stream" }, new Blob([JSON.stringify(asked), "\n", file]), signal);

async function send(path, headers, body, signal) {
  let response;
  try {
    response = await fetch(path, { method: "POST", headers, body, signal });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Error("The server does not answer. Is reedbore page still running?");
  }
  if (!response.ok) throw await refusal(response);
  return response;
}

export async function get(path) {
  const response = await fetch(path);
  if (!response.ok) throw await refusal(response);
  return response.json();
}

/** A function that asks, and drops its question before when it asks again; `drop` drops it at once. */
export function latest(path) {
  let pending = null;
  const ask = async (body) => {
    ask.drop();
    pending = new AbortController();
    return post(path, body, { signal: pending.signal });
  };
  ask.drop = () => pending?.abort();
  return ask;
}

export const dropped = (error) => error.name === "AbortError";

/** Rows of little-endian float32 as {name: row}; the header x-rows names them. */
export async function rows(response) {
  const all = new Float32Array(await response.arrayBuffer());
  const wide = Number(response.headers.get("x-cols"));
  const names = response.headers.get("x-rows").split(",");
  return Object.fromEntries(names.map((name, k) => [name, all.subarray(k * wide, (k + 1) * wide)]));
}
