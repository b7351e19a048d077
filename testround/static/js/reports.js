/* Drafts: what a tester has typed stays on the phone until it has arrived. The pages work without this. */

const PREFIX = "testround draft ";
const SENT = "testround draft sent";

const read = (key) => {
  try {
    return JSON.parse(window.localStorage.getItem(key));
  } catch {
    return null;
  }
};

const write = (key, value) => {
  try {
    window.localStorage.setItem(key, JSON.stringify(value));
  } catch {
    // A browser that keeps nothing loses no more than it would without this script.
  }
};

const remove = (key) => {
  try {
    window.localStorage.removeItem(key);
  } catch {
    // As above.
  }
};

/** The questions of a form that a draft keeps: not its number, not files, not boxes that confirm something. */
function questions(form) {
  return [...form.elements].filter(
    (field) =>
      field.name &&
      !["hidden", "file", "checkbox", "submit", "button", "fieldset"].includes(field.type)
  );
}

function values(form) {
  const kept = {};
  for (const field of questions(form)) {
    if (field.type !== "radio" || field.checked) {
      kept[field.name] = field.value;
    }
  }
  return kept;
}

function fill(form, kept) {
  for (const field of questions(form)) {
    if (!(field.name in kept)) {
      continue;
    }
    if (field.type === "radio") {
      field.checked = field.value === kept[field.name];
    } else {
      field.value = kept[field.name];
    }
  }
}

function say(form, began) {
  const note = document.createElement("div");
  note.className = "notice draft-kept";
  note.setAttribute("role", "status");
  const words = document.createElement("p");
  words.textContent = "What you had written here and not sent yet is back. ";
  const afresh = document.createElement("button");
  afresh.type = "button";
  afresh.className = "button-plain";
  afresh.textContent = "Start afresh";
  afresh.addEventListener("click", () => {
    remove(PREFIX + form.dataset.draft);
    fill(form, began);
    note.remove();
  });
  words.append(afresh);
  note.append(words);
  form.before(note);
}

function keepDraft(form) {
  const key = PREFIX + form.dataset.draft;
  const began = values(form);
  const kept = read(key);
  const refused = document.querySelector(".form-errors") !== null;
  const correcting = window.location.search.includes("corrects=");
  if (correcting) {
    return;
  }
  if (kept && !refused && JSON.stringify(kept) !== JSON.stringify(began)) {
    fill(form, kept);
    say(form, began);
  }
  form.addEventListener("input", () => write(key, values(form)));
  form.addEventListener("submit", () => write(SENT, key));
}

/** The answer to a form that was taken is another page with a message on it; then its draft has served. */
function forgetWhatArrived() {
  const key = read(SENT);
  if (key === null) {
    return;
  }
  if (document.querySelector(".messages") && !document.querySelector(".form-errors")) {
    remove(key);
  }
  remove(SENT);
}

forgetWhatArrived();
for (const form of document.querySelectorAll("form[data-draft]")) {
  keepDraft(form);
}
