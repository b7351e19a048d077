/* A report whose way is cut waits on this phone, says so, and goes out when there is a network again.
   Its form's key sees to it that it is taken once. The pages work without this file. */

import {
  SignedOut,
  button,
  fillIn,
  link,
  names,
  newKey,
  post,
  read,
  remove,
  says,
  token,
  whenBack,
  write,
} from "./phone.js";

const AGAIN_MS = 30000;
const WAITING = "waiting ";
const { dataset: words } = document.querySelector("[data-sending-words]");
let voice = null;
let busy = false;

/** The form on this page that this one waits for, if any. */
const open = new Map();

function fieldsOf(form, submitter) {
  const data = new FormData(form, submitter?.name ? submitter : undefined);
  return [...data].filter(([name, value]) => name !== "csrfmiddlewaretoken" && typeof value === "string");
}

function keep(form, submitter) {
  const fields = fieldsOf(form, submitter);
  const key = fields.find(([name]) => name === "key")?.[1] ?? newKey();
  const box = form.parentElement.querySelector("[data-draft-box]");
  const waiting = {
    key,
    url: form.action,
    page: window.location.pathname + window.location.search,
    what: form.dataset.outbox ?? document.querySelector("h1").textContent,
    draft: box ? `draft ${box.dataset.place} ${box.dataset.form}` : null,
    fields,
  };
  write(WAITING + key, waiting);
  open.set(key, form);
  return waiting;
}

function bodyOf(waiting) {
  const body = new FormData();
  for (const [name, value] of waiting.fields) {
    body.append(name, value);
  }
  return body;
}

/** Where the page that was sent is to be shown as the server answers it, errors and all. */
function sendPlainly(form) {
  const field = form.querySelector("[name=csrfmiddlewaretoken]");
  if (field && token()) {
    field.value = token();
  }
  form.submit();
}

/** Send one; gives "arrived" with where to go next, "refused", "waiting" or "signed out". */
async function send(waiting) {
  let answer;
  try {
    answer = await post(waiting.url, bodyOf(waiting));
  } catch (error) {
    return { state: error instanceof SignedOut ? "signed out" : "waiting" };
  }
  if (answer.ok) {
    const next = (await answer.json().catch(() => ({}))).next ?? "";
    remove(WAITING + waiting.key);
    if (waiting.draft) {
      remove(waiting.draft);
      document.dispatchEvent(new CustomEvent("draft-sent", { detail: waiting.draft }));
    }
    return { state: "arrived", next };
  }
  if (answer.status >= 500 || answer.status === 429) {
    return { state: "waiting", server: true };
  }
  remove(WAITING + waiting.key);
  return { state: "refused" };
}

function sayWaiting(waiting, outcome) {
  if (outcome.state === "signed out") {
    const back = encodeURIComponent(waiting.page);
    voice.say(words.signedOut, link(words.signIn, `/account/login/?next=${back}`));
    return;
  }
  voice.say(
    outcome.server ? words.noServer : words.noConnection,
    button(words.now, () => flush(true))
  );
}

async function onSubmit(event) {
  const form = event.currentTarget;
  if (event.defaultPrevented) {
    return;
  }
  event.preventDefault();
  if (form.dataset.sending === "yes") {
    return;
  }
  form.dataset.sending = "yes";
  const pressed = event.submitter;
  const before = pressed?.textContent;
  if (pressed?.dataset.sending) {
    pressed.style.minWidth = `${pressed.offsetWidth}px`;
    pressed.textContent = pressed.dataset.sending;
  }
  stampStop(form);
  const waiting = keep(form, pressed);
  const outcome = await send(waiting);
  if (outcome.state === "arrived") {
    goTo(outcome.next || waiting.page);
    return;
  }
  if (outcome.state === "refused") {
    sendPlainly(form);
    return;
  }
  delete form.dataset.sending;
  if (pressed?.dataset.sending) {
    pressed.textContent = before;
  }
  // What is on its way needs no draft on the server besides.
  form.dataset.waiting = "yes";
  sayWaiting(waiting, outcome);
}

/** To another page, or to this one anew: an address that differs by its end alone would only scroll. */
function goTo(address) {
  const [path] = address.split("#");
  const same = path === window.location.pathname + window.location.search;
  window.location.assign(address);
  if (same) {
    window.location.reload();
  }
}

/** A sitting ends when its button is pressed, not when the network comes back. */
function stampStop(form) {
  const field = form.querySelector("[name=stopped_at]");
  if (field && !field.value) {
    field.value = new Date().toISOString();
  }
}

/** Send all that waits. What was pressed by hand says how it went; the rest speaks when something arrived. */
export async function flush(byHand = false) {
  if (busy) {
    return;
  }
  busy = true;
  try {
    for (const name of names(WAITING)) {
      const waiting = read(name);
      if (!waiting) {
        continue;
      }
      const form = open.get(waiting.key);
      if (form?.dataset.sending === "yes") {
        continue;
      }
      if (form && waiting.draft) {
        // Written on since: what stands in the form is what is meant.
        waiting.fields = fieldsOf(form);
        write(name, waiting);
      }
      const outcome = await send(waiting);
      if (outcome.state === "arrived") {
        if (form) {
          goTo(outcome.next || waiting.page);
          return;
        }
        voice.say(fillIn(words.arrived, waiting));
      } else if (outcome.state === "refused") {
        if (form) {
          sendPlainly(form);
          return;
        }
        voice.say(fillIn(words.refused, waiting), link(words.look, waiting.page));
      } else {
        if (byHand || form || document.visibilityState === "visible") {
          sayWaiting(waiting, outcome);
        }
        return;
      }
    }
  } finally {
    busy = false;
  }
}

const forms = [...document.querySelectorAll("[data-draft-box] ~ form[data-draft], form[data-outbox]")];
const actions = forms[0]?.querySelector(".actions");
voice = says(actions && actions.closest("form") === forms[0] ? actions : undefined);
for (const form of forms) {
  form.addEventListener("submit", onSubmit);
}
whenBack(() => flush());
window.setInterval(() => flush(), AGAIN_MS);
flush();
