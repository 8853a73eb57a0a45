// Making elements: el("button", {class: "quiet", onclick}, "text", child).

let count = 0;

export function el(tag, props = {}, ...kids) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(props)) {
    if (value == null || value === false) continue;
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (name === "value" || name === "checked" || name === "disabled") made[name] = value;
    else made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...kids.flat().filter((kid) => kid != null));
  return made;
}

/** A label over whatever it names; the label stands outside, so that it names the right thing. */
export function field(label, input, ...after) {
  input.id ||= `f${++count}`;
  return el("div", { class: "field" }, el("label", { for: input.id }, label), input, ...after);
}

/** Tell at an input what is wrong with it; no text takes that back. */
export function complain(input, text = "") {
  input.id ||= `f${++count}`;
  const id = `${input.id}-wrong`, told = document.getElementById(id);
  if (!text) {
    told?.remove();
    for (const name of ["aria-invalid", "aria-describedby"]) input.removeAttribute(name);
    return;
  }
  input.setAttribute("aria-invalid", "true");
  input.setAttribute("aria-describedby", id);
  if (told) told.textContent = text;
  else (input.closest(".row, .setting") ?? input.parentElement).append(el("p", { class: "wrong", id }, text));
}

/** One of a few: a row of buttons of which one is on. `options` is [[value, text], ...]. */
export function choice(label, options, pick) {
  const name = `c${++count}`;
  const inputs = options.map(([value]) =>
    el("input", { type: "radio", name, value, id: `${name}-${value || "none"}`, onchange: () => pick(value) }));
  const root = el("fieldset", { class: "choice" }, el("legend", {}, label),
    el("div", { class: "choice-row" }, options.map(([, text], k) =>
      el("label", {}, inputs[k], text))));
  const show = (value) => inputs.forEach((input) => (input.checked = input.value === value));
  return { root, show };
}

/** A slider with what it stands at beside its name. `says(value)` words the number. */
export function slider({ label, low, high, step, says, move, hint }) {
  const shown = el("output", {});
  const input = el("input", { type: "range", min: low, max: high, step });
  const tell = () => {
    shown.textContent = says(Number(input.value));
    input.setAttribute("aria-valuetext", shown.textContent);
  };
  let moving = false;
  const rest = () => {
    if (moving) (moving = false), move(Number(input.value), false);
  };
  input.addEventListener("input", () => ((moving = true), tell(), move(Number(input.value), true)));
  input.addEventListener("change", rest);
  for (const end of ["pointerup", "pointercancel"]) addEventListener(end, rest); // brought back to where it began, it does not change
  const root = field(label, input);
  root.classList.add("slider");
  shown.setAttribute("for", input.id);
  root.querySelector("label").after(shown);
  if (hint) root.append(el("p", { class: "hint" }, hint));
  const show = (value) => {
    if (document.activeElement !== input || Number(input.value) !== value) input.value = value;
    tell();
  };
  return { root, show, input };
}

/** A change while the last one is a moment old waits until the hand rests. */
export function calmly(fn, pause = 120) {
  let last = -Infinity, timer = 0;
  return (...args) => {
    clearTimeout(timer);
    const now = performance.now();
    if (now - last > pause) fn(...args);
    else timer = setTimeout(() => fn(...args), pause);
    last = now;
  };
}
