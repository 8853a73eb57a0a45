// How far a student has come: kept by the browser, so that a reload loses nothing.

const KEY = "reedbore-lesson";

/** {at, done}: the number of the step that was open last, and the names of those that are solved. */
export function progress() {
  let kept = {};
  try {
    kept = JSON.parse(localStorage.getItem(KEY)) ?? {};
  } catch {
    // a browser that keeps nothing, or something else under that name
  }
  const at = Number.isInteger(kept.at) ? kept.at : 0;
  return { at, done: new Set(Array.isArray(kept.done) ? kept.done : []) };
}

export function keepProgress({ at, done }) {
  try {
    localStorage.setItem(KEY, JSON.stringify({ at, done: [...done] }));
  } catch {
    // then it is for this visit only
  }
}

export function forgetProgress() {
  try {
    localStorage.removeItem(KEY);
  } catch {
    // nothing was kept
  }
}
