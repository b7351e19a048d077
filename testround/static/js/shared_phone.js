/* A phone that several people use: pages kept for one are gone before another reads, and signing out leaves nothing
   behind, after what was still waiting here has been sent. */

import { flushCounting } from "./counting_queue.js";
import { SignedOut, freshToken, names, person, post, read, remove, says, token } from "./phone.js";

const LAST = "testround last person";
const PAGES = "testround pages";

async function dropPages() {
  if ("caches" in window) {
    for (const name of await window.caches.keys()) {
      if (name.startsWith(PAGES)) {
        await window.caches.delete(name);
      }
    }
  }
}

/** Pages that were kept for somebody who is not the one who reads now. */
async function onlyOwnPages() {
  let last = null;
  try {
    last = window.localStorage.getItem(LAST);
    if (last === person) {
      return;
    }
    // A page that was kept shows who it was kept for; only one from the server tells who reads.
    if (navigator.onLine) {
      await dropPages();
      window.localStorage.setItem(LAST, person);
    }
  } catch {
    // A browser that keeps nothing has no pages either.
  }
}

/** What still waits here, sent on its way; gives how many things could not be. */
async function sendAll() {
  for (const name of names("waiting ")) {
    const waiting = read(name);
    const body = new FormData();
    for (const [field, value] of waiting?.fields ?? []) {
      body.append(field, value);
    }
    const answer = waiting && (await post(waiting.url, body, { patience: 8000 }).catch(() => null));
    if (answer?.ok) {
      remove(name);
    }
  }
  await flushCounting();
  return names("waiting ").length + names("press ").length;
}

async function leave(event) {
  const form = event.target;
  event.preventDefault();
  try {
    await freshToken();
  } catch (error) {
    if (!(error instanceof SignedOut)) {
      says().say("You are not signed out: there is no connection. Nothing on this phone is lost.");
      return;
    }
  }
  const left = await sendAll();
  const question =
    left === 1
      ? "One thing on this phone is not sent yet. Signing out deletes it. Sign out all the same?"
      : `${left} things on this phone are not sent yet. Signing out deletes them. Sign out all the same?`;
  if (left && !window.confirm(question)) {
    return;
  }
  for (const name of names("")) {
    remove(name);
  }
  await dropPages();
  const field = form.querySelector("[name=csrfmiddlewaretoken]");
  if (field && token()) {
    field.value = token();
  }
  form.submit();
}

onlyOwnPages();
for (const form of document.querySelectorAll("form[action$='/account/logout/']")) {
  form.addEventListener("submit", leave);
}
