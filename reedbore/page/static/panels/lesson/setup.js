// The lesson's own setup, apart from the player's: what pictures and sounds of a step are asked for.
// It has of core/state.js what the panels need, and an undo.

/** createSetup(words): words, covered, set, undo, watch, on, tell. */
export function createSetup(words) {
  const watchers = new Set(), heard = {}, before = [];
  const keep = (set, fn) => (set.add(fn), () => set.delete(fn));
  const change = (next) => {
    setup.words = next;
    for (const fn of watchers) fn(next, false);
  };
  const setup = {
    words: structuredClone(words),
    covered: false,
    set(patch) {
      before.push(setup.words);
      change({ ...setup.words, ...patch });
    },
    get undoable() { return before.length > 0; },
    undo: () => before.length && change(before.pop()),
    watch: (fn) => keep(watchers, fn),
    on: (kind, fn) => keep((heard[kind] ??= new Set()), fn),
    tell(kind, answer) {
      for (const fn of heard[kind] ?? []) fn(answer);
    },
    cover(covered) {
      setup.covered = covered;
      setup.tell("covered", covered);
    },
  };
  return setup;
}
