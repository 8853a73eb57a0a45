// Light and dark: the system's wish until the switch is used. Canvases ask `colours` what to draw with.

const KEY = "reedbore-light";
const NAMES = ["paper", "card", "ink", "faint", "rule", "horn", "voice", "third", "shade"];
const listeners = new Set();
const system = matchMedia("(prefers-color-scheme: dark)");

/** The page's colours now: paper, card, ink, faint, rule, horn, voice, third, shade. */
export function colours() {
  const style = getComputedStyle(document.documentElement);
  return Object.fromEntries(NAMES.map((name) => [name, style.getPropertyValue("--" + name).trim()]));
}

/** Call fn whenever the colours change; returns the way out. */
export const onTheme = (fn) => (listeners.add(fn), () => listeners.delete(fn));

/** Whether moving pictures should wait to be asked. */
export const stillness = () => matchMedia("(prefers-reduced-motion: reduce)").matches;

export function startTheme(button) {
  let chosen = remembered();
  const isDark = () => (chosen ? chosen === "dark" : system.matches);
  const show = () => {
    document.documentElement.dataset.theme = isDark() ? "dark" : "light";
    button.textContent = isDark() ? "Light" : "Dark";
    button.setAttribute("aria-label", isDark() ? "Show the page light" : "Show the page dark");
    for (const fn of listeners) fn();
  };
  button.addEventListener("click", () => {
    chosen = isDark() ? "light" : "dark";
    remember(chosen);
    show();
  });
  system.addEventListener("change", show);
  show();
}

function remembered() {
  try {
    return localStorage.getItem(KEY);
  } catch {
    return null; // a browser that keeps nothing
  }
}

function remember(choice) {
  try {
    localStorage.setItem(KEY, choice);
  } catch {
    // it is light or dark for this visit only
  }
}
