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
  for (const piece of pieces.content.querySelectorAll("[id]")) {
    document.getElementById(piece.id)?.replaceWith(document.adoptNode(piece));
  }
  markFields();
  place.replaceChildren(document.adoptNode(panel));
  say(place.querySelector(".desk-check-answer").textContent.replace("≠", "").trim());
}

/** The answer in a sentence for those who cannot see the panel change; said again only when it is another. */
function say(sentence) {
  if (said.textContent !== sentence) {
    said.textContent = sentence;
  }
}

/** A field is marked wrong as long as something is said of it. */
function markFields() {
  const wrong = new Set();
  for (const words of form.querySelectorAll("[data-of]")) {
    if (words.textContent.trim()) {
      wrong.add(words.dataset.of);
    }
  }
  for (const field of form.querySelectorAll("input[id], select[id], textarea[id]")) {
    if (wrong.has(field.id)) {
      field.setAttribute("aria-invalid", "true");
    } else {
      field.removeAttribute("aria-invalid");
    }
  }
}

function sayNotChecked() {
  const sentence = "Not checked just now: the server did not answer. What you typed is still here.";
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
  form.addEventListener("input", later);
  form.addEventListener("change", later);
  form.addEventListener("submit", () => window.clearTimeout(timer));
}
