/* The clock of a sitting, and a word on pausing: after three quarters of an hour and each half hour from then on.
   The time itself is the server's: it runs on with the page closed. */

const MINUTE_MS = 60000;
const box = document.querySelector("[data-timer]");

function clock(minutes) {
  return `${Math.floor(minutes / 60)}:${String(minutes % 60).padStart(2, "0")}`;
}

/** How many words on pausing are due after so many minutes. */
function wordsDue(minutes, first, again) {
  return minutes < first ? 0 : 1 + Math.floor((minutes - first) / again);
}

if (box) {
  const face = box.querySelector("[data-timer-clock]");
  const word = box.querySelector("[data-timer-word]");
  const [first, again] = [Number(box.dataset.first), Number(box.dataset.again)];
  // A page that was kept without a network knows when it began; the minutes it came with may be old.
  const since = Date.parse(box.dataset.started);
  const opened = Date.now();
  const skew = opened - since - Number(box.dataset.minutes) * MINUTE_MS;
  const began = navigator.onLine && Math.abs(skew) > 2 * MINUTE_MS ? opened - Number(box.dataset.minutes) * MINUTE_MS : since;
  let said = word.textContent ? wordsDue(Number(box.dataset.minutes), first, again) : 0;
  const tick = () => {
    const minutes = Math.max(0, Math.floor((Date.now() - began) / MINUTE_MS));
    face.textContent = clock(minutes);
    const due = wordsDue(minutes, first, again);
    if (due > said) {
      said = due;
      // Emptied first, so that the same words are read out again.
      word.textContent = "";
      window.setTimeout(() => {
        word.textContent = word.dataset.words;
      }, 50);
    }
  };
  tick();
  window.setInterval(tick, 5000);
}
