// Keep a take, its picture and its setup; open one that was kept; a link that restores it.

import { post } from "../core/api.js";
import { newHorn } from "./controls/controls.js";
import { el, field } from "../core/dom.js";
import { readFile } from "../core/presets.js";
import { hashOf } from "../core/state.js";

const KINDS = [["wav", "Sound (WAV)"], ["png", "Picture (PNG)"], ["json", "Take as a sidecar (JSON)"], ["toml", "Setup as a preset (TOML)"]];
const LONGEST_S = 20;
const LARGEST = 200000; // [bytes]
const SETUPS = /\.(json|toml)$/i;

export function startFiles(root, state) {
  const seconds = el("input", { type: "number", id: "seconds", min: 1, max: LONGEST_S, step: 0.5, value: 4, inputmode: "decimal" });
  const said = el("p", { class: "caption", "aria-live": "polite" });
  const buttons = KINDS.map(([kind, title]) => el("button", { type: "button", class: "quiet", id: `save-${kind}`, onclick: () => save(kind, title) }, title));
  const open = el("input", { type: "file", id: "open", multiple: true });
  const link = el("input", { type: "text", id: "link", readonly: true, onfocus: () => link.select() });
  const copy = el("button", { type: "button", class: "quiet", onclick: copyLink }, "Copy the link");

  async function save(kind, title) {
    said.textContent = `${title}: being made …`;
    try {
      const response = await post("/api/take", { words: state.words, seconds: Number(seconds.value), kind });
      const name = /filename="?([^";]+)"?/.exec(response.headers.get("content-disposition") ?? "")?.[1] ?? `take.${kind}`;
      const url = URL.createObjectURL(await response.blob());
      el("a", { href: url, download: name }).click();
      setTimeout(() => URL.revokeObjectURL(url), 10000);
      said.textContent = `Kept as ${name}.`;
    } catch (error) {
      said.textContent = error.message;
    }
  }
  open.addEventListener("change", async () => {
    const files = [...open.files];
    const file = files.find((each) => SETUPS.test(each.name)) ?? files[0];
    if (!file) return;
    try {
      if (file.size > LARGEST) throw new Error(`${file.name} has ${Math.round(file.size / 1000)} kB; a sidecar or preset has less than ${LARGEST / 1000} kB.`);
      const sent = asked(file.name, await file.text());
      const beside = await compared(sent.sidecar, file.name, files.filter((each) => each !== file));
      const read = await readFile(state, sent);
      if (read.horn) state.set(newHorn(state, read.words.horn));
      else if (read.voice) state.set(read.words);
      else state.replace(read.words);
      said.textContent = [`Opened ${file.name}.`, ...beside, ...(read.notes ?? [])].join(" ");
    } catch (error) {
      said.textContent = error.message;
    }
    open.value = "";
  });
  async function copyLink() {
    link.select();
    try {
      await navigator.clipboard.writeText(link.value);
      said.textContent = "The link is copied.";
    } catch {
      said.textContent = "The link is marked: copy it by hand.";
    }
  }
  const show = () => (link.value = location.origin + location.pathname + hashOf(state.words));
  state.watch(show);
  show();
  root.append(
    el("div", { class: "row" }, field("Seconds", seconds), ...buttons),
    el("div", { class: "row" }, field("Open a sidecar or a preset", open),
      el("p", {}, "Choose its sound and picture along with a sidecar, and the page tells whether they belong to it.")),
    el("div", { class: "row wide" }, field("Link that brings this setup back", link), copy), said);
}

/** Say of each file that was chosen along with a sidecar whether it was written with it. */
async function compared(sidecar, name, others) {
  const sums = Object.entries(Object(sidecar?.checksums));
  return Promise.all(others.map(async (file) => {
    const [what, sum] = sums.find(([, one]) => one?.file === file.name) ?? [];
    if (!what) return `${name} does not name ${file.name}.`;
    const same = sum.bytes === file.size && sum.sha256 === await sha256(file);
    return same ? `${file.name} belongs to it.` : `${file.name} is not the ${what} that was written with ${name}.`;
  }));
}

async function sha256(file) {
  const sum = await crypto.subtle.digest("SHA-256", await file.arrayBuffer());
  return [...new Uint8Array(sum)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

function asked(name, text) {
  if (!name.toLowerCase().endsWith(".json")) return { preset: text, name };
  try {
    return { sidecar: JSON.parse(text), name };
  } catch {
    throw new Error(`${name} is no JSON file.`);
  }
}
