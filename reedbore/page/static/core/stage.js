// Where a lesson and the picture that it is about stand side by side, with the controls and the answer in sight.
//
// beside("bore")   put a panel beside the lesson, and the stage into view; `null` closes it
//
// A panel that is not the stage's own goes back to its place when another one is shown. While the stage is open it is as
// tall as what is seen of the page, and its two panels scroll each by itself: nothing has to be scrolled past. A picture that is
// to be seen whole has to fit its panel there, some 600 px high beside a lesson, 300 px on a phone.

const stage = document.querySelector(".stage");
let guest = null; // {panel, place}

export function beside(id) {
  const panel = id && document.getElementById(id);
  if (guest && guest.panel !== panel) (guest.place.replaceWith(guest.panel), (guest = null));
  if (panel && panel.parentElement !== stage) {
    const place = document.createComment(id);
    panel.before(place);
    stage.prepend(panel);
    guest = { panel, place };
  }
  stage.classList.toggle("open", Boolean(panel));
  for (const each of stage.querySelectorAll(":scope > section")) each.hidden = Boolean(panel) && each !== panel && each.id !== "lesson";
  if (panel) requestAnimationFrame(() => stage.scrollIntoView({ block: "start" })); // once both have their new sizes
}

/** The panel that stands beside the lesson now, or null. */
export const shown = () => (stage.classList.contains("open") ? stage.querySelector(":scope > section:not([hidden])")?.id ?? null : null);
