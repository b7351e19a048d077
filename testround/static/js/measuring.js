/* Measuring: the line of the drawing that belongs to the field one is in is drawn stronger, and a piece in which
   something is written is not left folded. The page works without this. */

const NOW = "dim-now";

function show(event) {
  const line = event.target.closest("[data-dimension]");
  if (!line) {
    return;
  }
  for (const group of document.querySelectorAll(`.${NOW}`)) {
    group.classList.remove(NOW);
  }
  for (const group of document.querySelectorAll(`.dim-${CSS.escape(line.dataset.dimension)}`)) {
    group.classList.add(NOW);
  }
}

function unfold() {
  for (const piece of document.querySelectorAll("details.measure-piece:not([open])")) {
    piece.open = [...piece.querySelectorAll(".readings input")].some((field) => field.value.trim());
  }
}

document.addEventListener("focusin", show);
unfold();
