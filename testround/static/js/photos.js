/* The arrow keys leaf through the photos of a round. The links do the same without this. */

document.addEventListener("keydown", (event) => {
  const busy = event.target instanceof Element && event.target.closest("input, select, textarea, [contenteditable]");
  if (busy || event.altKey || event.ctrlKey || event.metaKey || event.shiftKey) {
    return;
  }
  const rel = { ArrowLeft: "prev", ArrowRight: "next" }[event.key];
  const link = rel && document.querySelector(`main a[rel="${rel}"]`);
  if (link) {
    event.preventDefault();
    link.click();
  }
});
