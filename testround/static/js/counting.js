/* Counting rows and ticking off steps. A press costs no request: it is kept here, shown at once, and sent later with
   the others. Without this file the same buttons post to the server. */

import { MOST_AT_ONCE, add, flushPlace, waitingAt } from "./counting_queue.js";
import { SignedOut, fillIn, newKey, person, read, whenBack, whenLeaving, write } from "./phone.js";

const { URL: Address } = window;
const EVERY_MS = 120000;
const root = document.querySelector("[data-counting]");
const place = root.dataset.place;
const BASE = `counted ${place}`;
const CHOSEN = `counter ${place}`;
const waits = document.querySelector("[data-count-waiting]");
const told = document.querySelector("[data-count-told]");
const bar = document.querySelector("[data-count-bar]");
let sending = false;

/** What the server last said. While presses wait, what it said before they were pressed: a page may tell them too. */
function firstBase() {
  const fromPage = JSON.parse(document.querySelector("#counted").textContent);
  const kept = read(BASE);
  const base = kept && (waitingAt(place).length || kept.as_of > fromPage.as_of) ? kept : fromPage;
  write(BASE, base);
  return base;
}

let base = firstBase();

/** What the server said, with what waits here on top. */
function standing(waiting = waitingAt(place)) {
  const counters = new Map(base.counters.map((one) => [one.code, { ...one }]));
  const ticked = new Set(base.ticked);
  for (const { press } of waiting) {
    const one = counters.get(press.counter);
    if (press.kind === "counter" && !one) {
      counters.set(press.counter, { code: press.counter, label: press.label, goal: press.goal, rows: 0 });
    } else if (press.kind === "rows" && one) {
      one.rows = Math.max(0, one.rows + press.rows);
    } else if (press.kind === "close") {
      counters.delete(press.counter);
    } else if (press.kind === "tick") {
      if (press.done) {
        ticked.add(press.number);
      } else {
        ticked.delete(press.number);
      }
    }
  }
  return { counters: [...counters.values()], ticked };
}

function chosenOf(counters) {
  const asked = new URLSearchParams(window.location.search).get("counter");
  const code = read(CHOSEN) ?? asked;
  return counters.find((one) => one.code === code) ?? counters.at(-1) ?? null;
}

function choose(code) {
  write(CHOSEN, code);
  show();
}

function setText(node, text) {
  if (node.textContent !== text) {
    node.textContent = text;
  }
}

function showCounter(one) {
  document.querySelector("[data-count-now]").hidden = !one;
  document.querySelector("[data-count-mend]").hidden = !one;
  document.querySelector("[data-count-none]").hidden = Boolean(one);
  if (bar) {
    bar.hidden = !one;
  }
  if (!one) {
    return;
  }
  setText(document.querySelector("[data-count-label]"), one.label);
  setText(document.querySelector("[data-count-rows]"), String(one.rows));
  const left = Math.max(0, (one.goal ?? 0) - one.rows);
  const words = one.goal ? fillIn(root.dataset.of, { goal: one.goal, left }) : root.dataset.rows;
  setText(document.querySelector("[data-count-of]"), words);
  for (const field of document.querySelectorAll("[data-counter-field]")) {
    field.value = one.code;
  }
}

function showList(counters, chosen) {
  document.querySelector("[data-count-list-box]").hidden = counters.length < 2;
  const items = counters.map((one) => {
    const item = document.createElement("li");
    const link = document.createElement("a");
    const label = document.createElement("span");
    const rows = document.createElement("strong");
    label.textContent = one.label;
    rows.textContent = String(one.rows);
    link.href = `?counter=${one.code}`;
    link.dataset.code = one.code;
    if (one === chosen) {
      link.setAttribute("aria-current", "true");
    }
    link.append(label, " ", rows);
    item.append(link);
    return item;
  });
  const list = document.querySelector("[data-count-list]");
  const held = document.activeElement?.dataset?.code;
  list.replaceChildren(...items);
  if (held) {
    list.querySelector(`[data-code="${held}"]`)?.focus();
  }
}

function showSteps(ticked) {
  for (const section of document.querySelectorAll("[data-section]")) {
    const steps = [...section.querySelectorAll("button.step")];
    const sent = section.querySelectorAll("[data-step-sent]").length;
    for (const step of steps) {
      const done = ticked.has(step.value);
      step.setAttribute("aria-pressed", String(done));
      step.name = done ? "untick" : "tick";
    }
    const done = steps.filter((step) => ticked.has(step.value)).length;
    setText(
      section.querySelector("[data-section-count]"),
      fillIn(root.dataset.steps, { done: done + sent, all: steps.length + sent })
    );
  }
}

/** The first step that is neither ticked nor sent, in the order of the text. */
function showNext() {
  const step = document.querySelector('button.step[aria-pressed="false"]');
  document.querySelector("[data-count-next]").hidden = !step;
  if (step) {
    setText(document.querySelector("[data-count-next-words]"), step.dataset.words);
    setText(document.querySelector("[data-count-next-value]"), step.querySelector(".step-value")?.textContent ?? "");
  }
}

function show() {
  const { counters, ticked } = standing();
  const chosen = chosenOf(counters);
  showCounter(chosen);
  showList(counters, chosen);
  showSteps(ticked);
  showNext();
}

function sayWaiting() {
  const n = waitingAt(place).length;
  const words = navigator.onLine ? root.dataset.waitingSoon : root.dataset.waitingLong;
  setText(waits, n ? fillIn(words, { n }) : "");
}

/** Where somewhere else was counted too, the number here jumps: say so. */
function tellNewer(expected, state) {
  const known = new Map(expected.counters.map((one) => [one.code, one.rows]));
  const jumped = state.counters.find((one) => known.has(one.code) && known.get(one.code) !== one.rows);
  return jumped ? fillIn(root.dataset.newer, jumped) : "";
}

/** Send what waits. Presses made meanwhile go with the next post, and stand on top of the answer. */
async function send(leaving = false) {
  if (sending && !leaving) {
    return;
  }
  sending = true;
  try {
    for (let more = true; more; ) {
      const expected = standing(waitingAt(place).slice(0, MOST_AT_ONCE));
      const answer = await flushPlace(place, { leaving });
      if (answer) {
        base = answer.state;
        write(BASE, base);
        setText(told, answer.refused.length ? root.dataset.refused : tellNewer(expected, base));
        show();
      }
      more = answer !== null && answer.taken.length > 0;
    }
  } catch (error) {
    if (error instanceof SignedOut) {
      setText(told, root.dataset.signedOut);
    }
  } finally {
    sending = false;
    sayWaiting();
  }
}

function press(event) {
  add(place, root.dataset.events, event);
  show();
  sayWaiting();
}

function rowsOn(code, rows) {
  const one = standing().counters.find((counter) => counter.code === code);
  // Below nothing there is nothing to take back.
  const by = one ? Math.max(rows, -one.rows) : 0;
  if (by) {
    press({ kind: "rows", counter: code, rows: by });
  }
}

function newCounter(form) {
  const words = form.elements.words.value.trim();
  const option = form.elements.what.selectedOptions[0];
  const label = words || option?.dataset.label;
  if (!label) {
    return false;
  }
  const goal = words ? null : Number(option.dataset.goal) || null;
  const code = newKey();
  press({ kind: "counter", counter: code, label, goal });
  choose(code);
  form.elements.words.value = "";
  document.querySelector("[data-count-new]").open = false;
  document.querySelector("[data-count-label]").scrollIntoView({ block: "center" });
  return true;
}

function onSubmit(event) {
  const { target: form, submitter } = event;
  if (form === bar) {
    event.preventDefault();
    rowsOn(form.elements.counter.value, Number(submitter?.value ?? 1));
  } else if (form.matches("[data-steps-form]")) {
    event.preventDefault();
    press({ kind: "tick", number: submitter.value, done: submitter.name === "tick" });
  } else if (form.matches("[data-counter-form]")) {
    if (newCounter(form)) {
      event.preventDefault();
    }
  } else if (form.matches("[data-set-form]")) {
    event.preventDefault();
    const code = form.elements.counter.value;
    if (submitter?.name === "close") {
      press({ kind: "close", counter: code });
    } else {
      const aim = Number.parseInt(form.elements.to.value, 10);
      const one = standing().counters.find((counter) => counter.code === code);
      if (one && aim >= 0) {
        rowsOn(code, aim - one.rows);
        form.elements.to.value = "";
      }
    }
  }
}

function onChoice(event) {
  const link = event.target.closest?.("a[data-code]");
  if (link) {
    event.preventDefault();
    choose(link.dataset.code);
  }
}

/* The page without a network */

async function keepPage() {
  if (!("serviceWorker" in navigator)) {
    return;
  }
  try {
    await navigator.serviceWorker.register(root.dataset.worker, { scope: "/places/" });
    const ready = await navigator.serviceWorker.ready;
    const parts = [...document.querySelectorAll("link[href], script[src]")].map((node) => node.href || node.src);
    const loaded = window.performance.getEntriesByType("resource").map((entry) => entry.name);
    const files = [...new Set([...parts, ...loaded])].filter((url) => new Address(url).pathname.includes("/static/"));
    ready.active.postMessage({ keep: window.location.pathname, files, person });
    document.querySelector("[data-offline-words]").hidden = false;
  } catch {
    // The page counts all the same; it is only not there once it is closed without a network.
  }
}

/* The screen */

function offerWakeLock() {
  if (!("wakeLock" in navigator)) {
    return;
  }
  const box = document.querySelector("#wake");
  let lock = null;
  const hold = async () => {
    if (box.checked && document.visibilityState === "visible") {
      try {
        lock = await navigator.wakeLock.request("screen");
      } catch {
        box.checked = false;
      }
    }
  };
  document.querySelector("[data-wake-lock]").hidden = false;
  box.addEventListener("change", () => {
    if (box.checked) {
      hold();
    } else {
      lock?.release();
      lock = null;
    }
  });
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "hidden") {
      lock?.release();
      lock = null;
    } else {
      hold();
    }
  });
}

document.addEventListener("submit", onSubmit);
document.addEventListener("click", onChoice);
window.addEventListener("storage", () => {
  base = read(BASE) ?? base;
  show();
});
window.addEventListener("offline", () => sayWaiting());
const asked = new URLSearchParams(window.location.search).get("counter");
if (asked) {
  write(CHOSEN, asked);
}
show();
sayWaiting();
whenBack(() => send());
whenLeaving(() => send(true));
window.setInterval(() => send(), EVERY_MS);
send();
keepPage();
offerWakeLock();
