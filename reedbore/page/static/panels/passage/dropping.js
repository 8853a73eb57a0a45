// A panel onto which a file may be dropped. Elsewhere a file that is dropped must not take the page away.

for (const kind of ["dragover", "drop"]) addEventListener(kind, (event) => event.preventDefault());

/** `take(file)` is given the first of the files that are dropped onto a part of the page. */
export function droppable(root, take) {
  const over = (on) => root.classList.toggle("over", on);
  root.addEventListener("dragover", (event) => (event.preventDefault(), over(true)));
  root.addEventListener("dragleave", () => over(false));
  root.addEventListener("drop", (event) => {
    event.preventDefault();
    over(false);
    const [file] = event.dataTransfer.files;
    if (file) take(file);
  });
}
