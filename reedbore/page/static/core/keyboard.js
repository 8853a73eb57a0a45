// A piano keyboard on the screen: pointer, touch and arrow keys; one key is on.

import { el } from "./dom.js";
import { isBlack, midiName, pretty, spoken } from "./notes.js";

/**
 * keyboard({label, kind, low, high, pick}): `pick(midi, moving)` is told which key was chosen.
 * Returns {root, show}; `show(midi, off)` turns a key on, hollow if the note is off it, null none.
 */
export function keyboard({ label, kind, low, high, pick }) {
  const first = isBlack(low) ? low - 1 : low; // a keyboard ends on white keys
  const last = isBlack(high) ? high + 1 : high;
  const root = el("div", { class: `keys ${kind}`, role: "radiogroup", "aria-label": label });
  const keys = new Map();
  let white = 0;
  for (let midi = first; midi <= last; midi += 1) {
    const key = makeKey(midi);
    key.disabled = midi < low || midi > high;
    key.style.setProperty("--at", isBlack(midi) ? white : white++);
    keys.set(midi, key);
    root.append(key);
  }
  root.style.setProperty("--whites", white);
  const board = el("div", { class: "board" }, root);
  let on = null;

  /** Bring the key that is on into sight, if the board is wider than its place. */
  const reach = () => {
    const key = keys.get(on), left = key?.offsetLeft, right = left + key?.offsetWidth;
    if (key && (left < board.scrollLeft || right > board.scrollLeft + board.clientWidth)) board.scrollLeft = (left + right - board.clientWidth) / 2;
  };
  new ResizeObserver(reach).observe(board);

  const show = (midi, off = 0) => {
    on = midi === null ? null : Math.round(midi);
    for (const [each, key] of keys) {
      const chosen = each === on;
      key.setAttribute("aria-checked", chosen);
      key.tabIndex = chosen || (!keys.has(on) && each === low) ? 0 : -1;
      key.classList.toggle("off", chosen && Math.abs(off) >= 0.005);
    }
    reach();
  };
  draggable(root, (midi) => (show(midi), pick(midi, true)), (midi) => pick(midi, false));
  root.addEventListener("click", (event) => {
    const key = event.target.closest(".key"); // by keyboard or screen reader: no pointer came before
    if (key && !event.detail) choose(Number(key.dataset.midi));
  });
  root.addEventListener("keydown", (event) => {
    const from = on ?? low;
    const to = { ArrowRight: from + 1, ArrowUp: from + 1, ArrowLeft: from - 1, ArrowDown: from - 1,
      PageUp: from + 12, PageDown: from - 12, Home: low, End: high }[event.key];
    if (to === undefined) return;
    event.preventDefault();
    choose(Math.min(Math.max(to, low), high));
  });
  function choose(midi) {
    show(midi);
    keys.get(midi)?.focus();
    pick(midi, false);
  }
  return { root: board, show };
}

/** Drag over keys: `reached(midi)` is told each one that is reached, `rest(midi)` the last of them. */
function draggable(root, reached, rest) {
  let dragged = null;
  const drag = (event) => {
    const key = document.elementFromPoint(event.clientX, event.clientY)?.closest(".key");
    if (!key || key.disabled || key.parentElement !== root || Number(key.dataset.midi) === dragged) return;
    dragged = Number(key.dataset.midi);
    reached(dragged);
  };
  root.addEventListener("pointerdown", (event) => {
    if (event.button) return;
    event.target.releasePointerCapture?.(event.pointerId);
    const finger = event.pointerType === "touch"; // which may be about to move the board, or the page
    if (!finger) drag(event);
    const over = finger ? [] : [["pointermove", drag]];
    const end = (last) => {
      for (const [name, fn] of [...over, ["pointerup", end], ["pointercancel", end]]) removeEventListener(name, fn);
      if (finger && last.type === "pointerup") drag(last);
      if (dragged != null) rest(dragged);
      dragged = null;
    };
    for (const [name, fn] of [...over, ["pointerup", end], ["pointercancel", end]]) addEventListener(name, fn);
  });
}

function makeKey(midi) {
  const name = midiName(midi);
  const isC = name.startsWith("C") && !name.startsWith("C#");
  return el("button", {
    type: "button", class: `key ${isBlack(midi) ? "black" : "white"}`, role: "radio", "aria-checked": "false",
    tabindex: "-1", "data-midi": midi, "aria-label": spoken(name), title: pretty(name),
  }, isC && !isBlack(midi) ? el("span", { "aria-hidden": "true" }, name) : "");
}
