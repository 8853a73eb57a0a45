// The moving bore: asks for a film of the pressures of what is set, or of one push in a quiet bore.

import { dropped, post } from "../../core/api.js";
import { choice, el } from "../../core/dom.js";
import { film as readFilm } from "./film.js";
import { Player } from "./player.js";

const FRAMES = 240, POINTS = 120;
const REST = 350; // ms without a change before the film is made anew

const BORES = [["tube", "plain tube"], ["cone", "cone"], ["short", "short and wide"]];
const ENDS = [["open", "open"], ["closed", "stopped"], ["hole", "a hole open half-way"]];

export function start(root, state) {
  const picture = el("div", {}), push = pushChoices(() => films.again());
  let shows = "take";
  const pick = choice("Show", [["take", "the air in what is set"], ["push", "one push in a quiet bore"]], (value) => {
    shows = value;
    push.root.hidden = shows !== "push";
    films.again();
  });
  pick.show(shows);
  push.root.hidden = true;
  root.append(el("div", { class: "row" }, pick.root, push.root), picture);
  let refused = null; // what of the setup is wrong stands at its field and in the strip
  const says = ({ message }) => (shows === "take" && message === refused ? "" : message);
  const films = startFilms(picture, () => (shows === "push" ? push.asks() : takeOf(state)), { mark: root, says });
  state.on("trouble", ({ message }) => {
    refused = message;
    if (films.player.says === message) films.player.say(says({ message }));
  });
  state.watch(() => {
    refused = null;
    if (shows === "take") films.changed(true);
  });
  // A sound that is heard is not to share its cores with a picture that is seen a moment later.
  for (const kind of ["heard", "trouble"]) state.on(kind, films.due);
}

/** What is asked for the air in a setup. */
export const takeOf = (state) => ["/api/bore", { words: state.words }];

/** Choices of bore and end: their rows, and what is asked. */
export function pushChoices(changed, begins = { bore: "tube", end: "open" }) {
  const now = { ...begins };
  const pick = (name, label, options) => {
    const made = choice(label, options, (value) => ((now[name] = value), changed()));
    made.show(now[name]);
    return made.root;
  };
  return { root: el("div", { class: "row" }, pick("bore", "Bore", BORES), pick("end", "Far end", ENDS)), asks: () => ["/api/pulse", now] };
}

/** A player that asks for its film when it is near, and again when it is told to; `still`, at once, and stands. `says` an error. */
export function startFilms(root, asks, { mark = root, still = false, says = (error) => error.message } = {}) {
  const player = new Player(root, mark);
  let pending = null, timer = 0, seen = still, wanted = true;
  const ask = async () => {
    pending?.abort();
    const mine = (pending = new AbortController());
    wanted = false;
    mark.dataset.bore = "asking";
    if (!player.film) player.say("Working out the waves in the bore …");
    try {
      const [path, body] = asks();
      const film = await readFilm(await post(path, { ...body, frames: FRAMES, points: POINTS }, { signal: mine.signal }));
      if (mine.signal.aborted) return;
      player.load(film);
      mark.dataset.bore = "ready";
    } catch (error) {
      if (dropped(error)) return;
      player.load(null);
      mark.dataset.bore = "refused";
      player.say(says(error));
    }
  };
  // Nothing is worked out for a picture that nobody has come near yet.
  const near = new IntersectionObserver((entries) => {
    seen = still || entries.at(-1).isIntersecting;
    player.inSight(seen && !still);
    if (seen && wanted) ask();
  }, { rootMargin: "300px", scrollMargin: "300px" }); // of the window, and of what scrolls within it
  near.observe(root);
  if (still) ask();
  return {
    player,
    again: () => ((wanted = true), seen && ask()),
    /** Ask for what changed, if it was not asked for yet. */
    due: () => seen && wanted && ask(),
    /** What there is is no longer true; it is asked for anew after a rest, or while still `moving` not before it is due. */
    changed(moving) {
      wanted = true;
      pending?.abort();
      clearTimeout(timer);
      if (!moving) timer = setTimeout(() => seen && wanted && ask(), REST);
    },
    leave() {
      pending?.abort();
      clearTimeout(timer);
      near.disconnect();
      player.leave();
    },
  };
}
