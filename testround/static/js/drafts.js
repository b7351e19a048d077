/* What is typed into a form is kept on this phone at once, and on the server a moment later, until it has arrived.
   A form without a box that names it is kept on this phone alone. The pages work without this file. */

import { dateTime, person, post, postJson, read, remove, whenBack, whenLeaving, write } from "./phone.js";

const PAUSE_MS = 1500;
const SENT = "draft sent";
const { dataset: said } = document.querySelector("[data-draft-words]");
// What is never kept, whatever a form calls it.
const NOT_KEPT = /csrf|password|passwd|^key$|^keep_/i;
const NOT_TYPED = ["hidden", "file", "password", "checkbox", "submit", "button", "fieldset", "reset", "image"];

/** The questions of a form that a draft keeps: not its number, not files, not boxes that confirm something. */
function questions(form) {
  return [...form.elements].filter(
    (field) => field.name && !NOT_TYPED.includes(field.type) && !NOT_KEPT.test(field.name)
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

const alike = (one, other) => JSON.stringify(one) === JSON.stringify(other);

/** The draft that the server sent with the page. */
function fromServer(notice) {
  const node = document.querySelector("#draft-values");
  if (!node) {
    return null;
  }
  return {
    values: JSON.parse(node.textContent),
    at: Date.parse(notice.dataset.at),
    revision: Number(notice.dataset.revision),
    dirty: false,
  };
}

/** Of the phone's draft and the server's, the one that was typed last. One that the server had and has no more was
    sent or dropped elsewhere. */
function newest(local, server) {
  if (!local) {
    return server;
  }
  if (!server) {
    return local.dirty || !local.revision ? local : null;
  }
  return local.dirty && local.at >= server.at ? local : server;
}

class Draft {
  constructor(form, box) {
    this.form = form;
    this.box = box;
    this.notice = box.querySelector("[data-draft-notice]");
    this.name = `draft ${box.dataset.place} ${box.dataset.form}`;
    this.pristine = values(form);
    this.timer = null;
    this.over = false;
    this.state = document.createElement("p");
    this.state.className = "draft-state quiet small";
    this.state.setAttribute("role", "status");
    form.prepend(this.state);
  }

  begin() {
    const local = read(this.name);
    const server = fromServer(this.notice);
    const draft = newest(local, server);
    this.revision = server?.revision ?? draft?.revision ?? 0;
    for (const words of this.notice.querySelectorAll("[data-without-script]")) {
      words.hidden = true;
    }
    for (const words of this.notice.querySelectorAll("[data-with-script]")) {
      words.hidden = false;
    }
    if (draft && !alike(draft.values, this.pristine)) {
      fill(this.form, draft.values);
      this.notice.querySelector("[data-draft-time]").textContent = dateTime(draft.at);
      this.notice.hidden = false;
    } else {
      this.notice.hidden = !(server && new URLSearchParams(window.location.search).has("kept"));
      if (!draft && local) {
        remove(this.name);
      }
    }
    this.form.addEventListener("input", () => this.typed());
    this.notice.querySelector("[data-draft-afresh]").addEventListener("submit", (event) => this.afresh(event));
    document.addEventListener("draft-sent", (event) => {
      this.over = this.over || event.detail === this.name;
    });
    whenLeaving(() => this.keep(true));
    whenBack(() => this.keep());
    if (draft?.dirty) {
      this.keep();
    }
  }

  typed() {
    const kept = write(this.name, { values: values(this.form), at: Date.now(), revision: this.revision, dirty: true });
    if (kept && !this.state.textContent) {
      this.state.textContent = this.box.dataset.keptOnPhone;
    }
    window.clearTimeout(this.timer);
    this.timer = window.setTimeout(() => this.keep(), PAUSE_MS);
  }

  /** Give the server what it has not got. Where that fails the phone has it, and it is tried again. */
  async keep(leaving = false) {
    window.clearTimeout(this.timer);
    const draft = read(this.name);
    const { sending, waiting } = this.form.dataset;
    if (this.over || !draft?.dirty || sending === "yes" || waiting === "yes") {
      return;
    }
    const document_ = {
      form: this.box.dataset.form,
      values: draft.values,
      at: new Date(draft.at).toISOString(),
      based_on: this.revision,
      key: this.form.elements.key?.value,
    };
    try {
      const answer = await postJson(this.box.dataset.keep, document_, { keepalive: leaving });
      if (!answer.ok || this.over) {
        return;
      }
      this.revision = (await answer.json()).revision;
      const now = read(this.name);
      if (now && now.at === draft.at) {
        write(this.name, { ...now, revision: this.revision, dirty: false });
        this.state.textContent = this.box.dataset.keptEverywhere;
      }
    } catch {
      // Without a network it is kept here.
    }
  }

  async afresh(event) {
    event.preventDefault();
    remove(this.name);
    window.clearTimeout(this.timer);
    fill(this.form, this.pristine);
    this.notice.hidden = true;
    this.state.textContent = "";
    const field = this.form.querySelector("input:not([type=hidden]), select, textarea");
    field?.focus();
    const body = new FormData(event.target);
    body.set("draft", this.box.dataset.form);
    body.delete("csrfmiddlewaretoken");
    try {
      await post(event.target.action, body);
      this.revision = 0;
    } catch {
      // The server's copy goes when the form is sent, or is dropped here once more.
      write(this.name, { values: this.pristine, at: Date.now(), revision: this.revision, dirty: true });
    }
  }
}

/* Forms that are kept on this phone alone, of pages that answer with another page and a message on it. */

function keepHere(form) {
  const name = `here ${form.dataset.draft}`;
  const began = values(form);
  const kept = read(name);
  if (kept && !document.querySelector(".form-errors") && !alike(kept, began)) {
    fill(form, kept);
    const note = document.createElement("div");
    note.className = "notice draft-kept";
    note.setAttribute("role", "status");
    const words = document.createElement("p");
    words.textContent = `${said.back} `;
    const afresh = document.createElement("button");
    afresh.type = "button";
    afresh.className = "button-plain";
    afresh.textContent = said.afresh;
    afresh.addEventListener("click", () => {
      remove(name);
      fill(form, began);
      note.remove();
    });
    words.append(afresh);
    note.append(words);
    form.before(note);
  }
  form.addEventListener("input", () => write(name, values(form)));
  form.addEventListener("submit", () => write(SENT, name));
}

/** The answer to a form that was taken is another page with a message on it; then its draft has served. */
function forgetWhatArrived() {
  const name = read(SENT);
  if (name === null) {
    return;
  }
  if (document.querySelector(".messages") && !document.querySelector(".form-errors")) {
    remove(name);
  }
  remove(SENT);
}

if (person) {
  forgetWhatArrived();
  const correcting = new URLSearchParams(window.location.search).has("corrects");
  for (const form of document.querySelectorAll("form[data-draft]")) {
    const box = form.parentElement.querySelector("[data-draft-box]");
    if (box) {
      new Draft(form, box).begin();
    } else if (!correcting && !document.querySelector(".form-errors")) {
      keepHere(form);
    }
  }
}
