// Running a film of the bore: frame by frame at a small share of true speed, and what happens now.
// Space runs and pauses, arrow keys step, a slider drags through time.

import { captionAt } from "./film.js";
import { drawStill, mover, placed, places } from "./draw.js";
import { drawTicks, rowsOf, ticker, ticksPlaced } from "./ticks.js";
import { colours as pageColours, onTheme, stillness } from "../../core/theme.js";

const SLOWEST = 1000, FASTEST = 20, USUAL = 800; // times slower than it is
const SMOOTH = 50; // frames a second
const CLOCK = 80; // ms between two readings of the clock: laying out text is dear
const READABLE = 0.8; // s a caption must stand on average to be read along
const BRIEF = 0.3; // s: one that would stand for less is passed over, unless the film stands still
const BLANK = { frames: 1, positions: [1], outline: [[1, 1]], extra: 0, high: 1, low: -1, signals: {} }; // its room is kept, so that nothing below moves

// ------------------------------------------------------------------ what stands on the page

const MARKUP = `
  <p class="caption bore-now" aria-live="polite"></p>
  <div class="bore-scene" tabindex="0" role="group" aria-label="Moving picture. Space runs or pauses, arrow keys step.">
    <div class="bore-horn"><canvas role="img" aria-label="Pressure along the bore as the sum of the wave that leaves the reed and the one that comes back, the reed against the lay, the mouth, folds where they sing, the far end"></canvas></div>
    <div class="bore-beats"><canvas role="img" aria-label="Beats of the voice, of the reed and of the third note, one under another, and of folds the pressures beside them"></canvas></div>
  </div>
  <div class="bore-drive">
    <div class="row">
      <button type="button" class="bore-run">Run</button>
      <button type="button" class="quiet bore-back" aria-label="One step back">◂ Step</button>
      <button type="button" class="quiet bore-on" aria-label="One step on">Step ▸</button>
    </div>
    <div class="field"><label><span>Speed <b class="bore-share"></b> of the true one</span>
      <input class="bore-speed" aria-label="Speed" type="range" min="0" max="100" step="1"></label></div>
    <div class="field"><label><span>Time <b class="bore-clock"></b></span>
      <input class="bore-time" aria-label="Time" type="range" min="0" max="1" step="1" value="0"></label></div>
  </div>
  <details class="bore-all"><summary>What happens, moment by moment</summary><ol class="bore-moments"></ol></details>`;

function build(root) {
  root.classList.add("bore-film");
  root.innerHTML = MARKUP;
  const find = (name) => root.querySelector("." + name);
  return {
    now: find("bore-now"), scene: find("bore-scene"), horn: find("bore-horn canvas"), beats: find("bore-beats canvas"),
    run: find("bore-run"), back: find("bore-back"), on: find("bore-on"), share: find("bore-share"),
    clock: find("bore-clock"), moments: find("bore-moments"), all: find("bore-all"), speed: find("bore-speed"), time: find("bore-time"),
  };
}

function say(parts, text) {
  if (parts.now.textContent !== text) parts.now.textContent = text;
}


export class Player {
  /** In `root`; how it stands is told in the data of `mark`. */
  constructor(root, mark = root) {
    const parts = build(root);
    this.covered = false; // whether what is to be counted, and what happens, is kept back
    Object.assign(this, { root: mark, parts, film: null, at: 0, slower: USUAL, seen: false, clocked: 0, slow: 0, dots: Math.min(2, devicePixelRatio || 1) });
    this.running = !stillness();
    this.beat = this.beat.bind(this);
    this.handle();
    this.forget = onTheme(() => this.lay());
    (this.sizes = new ResizeObserver(() => this.lay())).observe(parts.scene);
    this.showRunning();
  }

  /** Stop for good. */
  leave() {
    this.sizes.disconnect();
    this.forget();
    this.film = this.draw = null;
  }

  /** Keep back what the picture is asked for, or show it. */
  cover(covered) {
    this.covered = covered;
    this.parts.now.classList.toggle("kept-back", covered);
    this.caption = null;
    this.listMoments();
    this.lay();
  }

  say(text) {
    say(this.parts, text);
  }

  get says() {
    return this.parts.now.textContent;
  }

  load(film) {
    const share = this.film ? this.at / this.film.frames : 0;
    this.film = film;
    this.at = film ? share * film.frames : 0;
    this.caption = null;
    this.parts.scene.hidden = !film;
    this.listMoments();
    if (!film) return;
    this.parts.time.max = film.frames - 1;
    this.root.dataset.frames = film.frames;
    this.lay();
    this.wake();
  }

  /** Set the canvases to the width there is and draw what stays. */
  lay() {
    const width = Math.floor(this.parts.scene.clientWidth);
    if (!width) return;
    const { film, parts } = this, colours = colourSet(parts.scene);
    if (!film) return blank(parts, width, colours);
    const place = placed(width, film), ticks = { ...ticksPlaced(width, film), family: colours.family, paper: colours.card };
    const rows = rowsOf(film, colours, this.covered);
    const [hornStill, beatsStill] = [document.createElement("canvas"), document.createElement("canvas")];
    drawStill(sized(hornStill, place, this.dots), film, place, colours);
    drawTicks(sized(beatsStill, ticks, this.dots), film, ticks, rows, colours);
    this.draw = [
      mover(sized(parts.horn, place, this.dots), hornStill, film, place, colours),
      ticker(sized(parts.beats, ticks, this.dots), beatsStill, film, ticks, rows, colours),
    ];
    this.show();
  }

  inSight(seen) {
    this.seen = seen;
    this.wake();
  }

  wake() {
    if (this.frame || !this.running || !this.seen || !this.film) return;
    this.last = null;
    this.counted = { since: performance.now(), frames: 0, work: 0 };
    this.frame = requestAnimationFrame(this.beat);
  }

  beat(now) {
    this.frame = 0;
    if (!this.running || !this.seen || !this.film) return;
    const passed = this.last === null ? 0 : Math.min(0.1, (now - this.last) / 1000);
    this.last = now;
    this.at = (this.at + passed / this.slower / this.film.step) % this.film.frames;
    const begun = performance.now();
    this.show();
    this.count(performance.now() - begun);
    this.frame = requestAnimationFrame(this.beat);
  }

  count(work) {
    const { counted } = this, now = performance.now();
    counted.frames += 1;
    counted.work += work;
    if (now - counted.since < 1000) return;
    const fps = (1000 * counted.frames) / (now - counted.since);
    this.root.dataset.fps = fps.toFixed(1);
    this.root.dataset.work = (counted.work / counted.frames).toFixed(2);
    this.counted = { since: now, frames: 0, work: 0 };
    this.slow = fps < SMOOTH ? this.slow + 1 : 0;
    if (this.slow > 2 && this.dots > 1) this.coarser();
  }

  /** A machine that cannot keep up with so many dots gets fewer. */
  coarser() {
    this.dots = 1;
    this.lay();
  }

  /** Draw the moment `at`, and say it. */
  show() {
    if (!this.draw) return;
    for (const draw of this.draw) draw(this.at);
    this.tell();
    const now = performance.now();
    if (this.running && now - this.clocked < CLOCK) return;
    this.clocked = now;
    const clock = `${(this.at * this.film.step * 1000).toFixed(1)} ms`, { parts } = this;
    parts.time.value = Math.min(this.film.frames - 1, Math.round(this.at));
    if (parts.clock.textContent !== clock) parts.clock.textContent = clock;
    if (!this.running) parts.time.setAttribute("aria-valuetext", clock);
  }

  tell() {
    if (this.covered) return say(this.parts, "");
    const { captions, frames, step } = this.film, found = captionAt(captions, this.at + 1e-6);
    const seconds = step * this.slower, fast = this.running && frames * seconds < READABLE * captions.length;
    const now = fast ? "fast" : found, until = captions[found + 1]?.[0] ?? frames;
    if (now === this.caption) return;
    if (this.running && !fast && (until - captions[found]?.[0]) * seconds < BRIEF) return;
    this.caption = now;
    const text = captions[found]?.[1] ?? "";
    say(this.parts, fast ? "Too fast to read along: slow it down, or pause, to be told what happens." : text);
    this.root.dataset.kind = fast ? "" : (captions[found]?.[2] ?? "");
    [...this.parts.moments.children].forEach((item, k) => {
      if (!fast && k === found) item.firstChild.setAttribute("aria-current", "true");
      else item.firstChild.removeAttribute("aria-current");
    });
  }

  listMoments() {
    const { moments, all } = this.parts, captions = this.covered ? [] : this.film?.captions ?? [];
    all.hidden = !captions.length;
    moments.replaceChildren(...captions.map(([frame, text]) => {
      const item = document.createElement("li"), button = document.createElement("button");
      button.type = "button";
      button.className = "quiet";
      button.textContent = `${(frame * this.film.step * 1000).toFixed(1)} ms: ${text}`;
      button.addEventListener("click", () => this.seek(frame));
      item.append(button);
      return item;
    }));
  }

  // ---------------------------------------------------------------- hands

  set(running) {
    this.running = running;
    this.showRunning();
    this.caption = null;
    this.show();
    this.wake();
  }

  showRunning() {
    this.parts.run.textContent = this.running ? "Pause" : "Run";
    this.root.dataset.running = this.running;
  }

  seek(at) {
    if (!this.film) return;
    this.at = Math.max(0, Math.min(this.film.frames - 1, at));
    this.set(false);
  }

  step(count) {
    if (!this.film) return;
    const last = this.film.frames - 1, next = Math.round(this.at) + count;
    this.seek(next < 0 ? last : next > last ? 0 : next);
  }

  handle() {
    const { run, back, on, speed, time, scene } = this.parts;
    run.addEventListener("click", () => this.set(!this.running));
    back.addEventListener("click", () => this.step(-1));
    on.addEventListener("click", () => this.step(1));
    time.addEventListener("input", () => this.seek(Number(time.value)));
    speed.addEventListener("input", () => this.pace(SLOWEST * (FASTEST / SLOWEST) ** (speed.value / 100)));
    speed.value = Math.round((100 * Math.log(USUAL / SLOWEST)) / Math.log(FASTEST / SLOWEST));
    this.pace(USUAL);
    scene.addEventListener("keydown", (event) => this.key(event));
    this.dragBeats();
  }

  pace(slower) {
    this.slower = Number(slower.toPrecision(2));
    this.parts.share.textContent = `1:${this.slower}`;
    this.parts.speed.setAttribute("aria-valuetext", `1 to ${this.slower} of true speed`);
    this.caption = null;
    if (this.film) this.show();
  }

  key(event) {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const stride = event.shiftKey ? 10 : 1;
    const does = {
      " ": () => this.set(!this.running),
      ArrowRight: () => this.step(stride),
      ArrowLeft: () => this.step(-stride),
      Home: () => this.seek(0),
      End: () => this.seek(this.film ? this.film.frames - 1 : 0),
    }[event.key];
    if (!does) return;
    event.preventDefault();
    does();
  }

  /** The rows of beats can be dragged through as well. */
  dragBeats() {
    const canvas = this.parts.beats;
    const to = (event) => {
      if (!this.film || !(event.buttons & 1)) return;
      const box = canvas.getBoundingClientRect(), { left, w } = ticksPlaced(Math.floor(box.width), this.film);
      this.seek(((event.clientX - box.left - left) / w) * this.film.frames);
    };
    canvas.addEventListener("pointerdown", (event) => {
      canvas.setPointerCapture(event.pointerId);
      to(event);
    });
    canvas.addEventListener("pointermove", to);
  }
}

// ------------------------------------------------------------------ colours and sizes

function colourSet(root) {
  const style = getComputedStyle(root), own = (name) => style.getPropertyValue("--bore-" + name).trim();
  const names = ["low", "rest", "high", "body", "onBody", "reed"];
  const mine = Object.fromEntries(names.map((name) => [name, own(name.toLowerCase())]));
  return { ...pageColours(), ...mine, family: style.fontFamily };
}

/** Keep the room of a film that is being worked out. */
function blank({ horn, beats }, width, colours) {
  for (const [canvas, place] of [[horn, places(width, BLANK)], [beats, ticksPlaced(width, BLANK)]]) {
    const context = sized(canvas, place, 1);
    context.fillStyle = colours.card;
    context.fillRect(0, 0, place.width, place.height);
  }
}

function sized(canvas, { width, height }, dots) {
  canvas.width = Math.round(width * dots);
  canvas.height = Math.round(height * dots);
  canvas.style.width = `${width}px`;
  canvas.style.height = `${height}px`;
  const context = canvas.getContext("2d", { alpha: false });
  context.scale(dots, dots);
  return context;
}
