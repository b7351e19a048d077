// The desk check of the sheet's page, live: what is typed is sent, and what the formulas give comes back
// beside it. Without this file the button "Check without saving" does the same.

const WAIT_MS = 500;

const form = document.querySelector("form[data-check]");
const place = document.getElementById("desk-check-place");
const waiting = document.getElementById("check-waiting");
const said = document.getElementById("check-said");

let timer = 0;
let underWay = null;

function later() {
  window.clearTimeout(timer);
  timer = window.setTimeout(checkNow, WAIT_MS);
}

async function checkNow() {
  underWay?.abort();
  const mine = new AbortController();
  underWay = mine;
  waiting.classList.add("is-on");
  try {
    const answer = await fetch(form.dataset.check, {
      method: "POST",
      body: new URLSearchParams(new FormData(form)),
      headers: { "X-Requested-With": "fetch" },
      signal: mine.signal,
    });
    if (answer.ok && !answer.redirected) {
      show(await answer.text());
    } else {
      sayNotChecked();
    }
  } catch (error) {
    if (error.name !== "AbortError") {
      sayNotChecked();
    }
  } finally {
    if (underWay === mine) {
      waiting.classList.remove("is-on");
    }
  }
}

/** Put the answer in its places. Only texts are replaced, never a field that someone may be typing in. */
function show(html) {
  const page = new DOMParser().parseFromString(html, "text/html");
  const panel = page.getElementById("desk-check");
  const pieces = page.querySelector("template");
  if (!panel || !pieces) {
    sayNotChecked();
    return;
  }
  for (const old of form.querySelectorAll(".cell-errors")) {
    old.remove();
  }
  for (const piece of pieces.content.querySelectorAll("[id]")) {
    if (piece.matches(".cell-errors")) {
      const field = fieldOf(piece.dataset.of);
      (field?.closest("label") ?? field)?.after(document.adoptNode(piece));
    } else {
      (document.getElementById(piece.id) ?? placeUnder(piece))?.replaceWith(document.adoptNode(piece));
    }
  }
  markFields();
  place.replaceChildren(document.adoptNode(panel));
  say(place.querySelector(".desk-check-answer").textContent.trim());
}

/** The answer in a sentence for those who cannot see the panel change; said again only when it is another. */
function say(sentence) {
  if (said.textContent !== sentence) {
    said.textContent = sentence;
  }
}

/** The field with this id. Of the many in tables only those have one of which something is said. */
function fieldOf(id) {
  const field = document.getElementById(id) ?? form.elements.namedItem(id.replace(/^id_/, ""));
  if (field instanceof HTMLElement) {
    field.id = id;
    return field;
  }
  return null;
}

/** Where a list of reasons or a plot goes whose row of a table has had nothing to say so far. */
function placeUnder(piece) {
  const [, kind, name] = piece.id.match(/^(why|plot)-(.*)/) ?? [];
  const entry = document.getElementById(name ?? "");
  if (!entry?.matches("tbody") || !piece.hasChildNodes()) {
    return null;
  }
  let row = entry.querySelector(".why-row");
  if (!row) {
    row = entry.insertRow();
    row.className = "why-row";
    row.insertCell().colSpan = entry.rows[0].cells.length;
  }
  const place = document.createElement("span");
  row.cells[0][kind === "why" ? "prepend" : "append"](place);
  return place;
}

/** A field is marked wrong as long as something is said of it, and is tied to what is said. */
function markFields() {
  for (const field of form.querySelectorAll("[aria-invalid]")) {
    field.removeAttribute("aria-invalid");
  }
  for (const field of form.querySelectorAll("[aria-describedby^='id_'], [aria-describedby^='why-']")) {
    field.removeAttribute("aria-describedby");
  }
  for (const why of form.querySelectorAll("tbody .why:not(:empty)")) {
    for (const field of why.closest("tbody").querySelectorAll("td input")) {
      field.setAttribute("aria-describedby", why.id);
    }
  }
  for (const words of form.querySelectorAll("[data-of]")) {
    const field = fieldOf(words.dataset.of);
    field?.setAttribute("aria-invalid", "true");
    if (words.id) {
      field?.setAttribute("aria-describedby", words.id);
    }
  }
}

/** A place that is led to may be folded away: unfold it before the browser goes there. */
function unfold(event) {
  const id = event.target.closest?.("a[href^='#']")?.hash.slice(1);
  const target = id && (document.getElementById(id) ?? fieldOf(id));
  for (let fold = target?.closest("details"); fold; fold = fold.parentElement.closest("details")) {
    fold.open = true;
  }
}

/** A row is called by its name, as that is typed. */
function nameRow(event) {
  const title = event.target.closest(".numbers-sheet th")?.querySelector("summary > span");
  if (title && event.target.name.endsWith("-label") && event.target.value.trim()) {
    title.textContent = event.target.value;
  }
}

function sayNotChecked() {
  const sentence = form.dataset.failed;
  place.querySelector(".desk-check-answer").textContent = sentence;
  say(sentence);
}

/** What is typed is on the page alone until it is saved: leaving asks first. */
let unsaved = form?.hasAttribute("data-unsaved") ?? false;

function keepUnsaved(event) {
  if (unsaved) {
    event.preventDefault();
  }
}

if (form && place && waiting && said) {
  form.addEventListener("input", () => (unsaved = true));
  form.addEventListener("submit", () => (unsaved = false));
  window.addEventListener("beforeunload", keepUnsaved);
  document.addEventListener("click", unfold);
  // Comfort on a phone, which in the markup of so many fields would weigh more than their values.
  for (const field of form.querySelectorAll(".numbers-sheet td input")) {
    field.inputMode = "decimal";
  }
  for (const field of form.querySelectorAll(".key, .formula")) {
    field.spellcheck = false;
    field.autocapitalize = "off";
  }
  form.addEventListener("input", nameRow);
  form.addEventListener("input", later);
  form.addEventListener("change", later);
  form.addEventListener("submit", () => window.clearTimeout(timer));
}
