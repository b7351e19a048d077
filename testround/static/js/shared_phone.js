/* A phone that several people use: pages kept for one are gone before another reads, and signing out leaves nothing
   behind, after what was still waiting here has been sent. */

import { flushCounting } from "./counting_queue.js";
import { SignedOut, fillIn, freshToken, names, person, post, read, remove, says, token } from "./phone.js";

const { URL: Address } = window;
const LAST = "testround last person";
const PAGES = "testround pages";
const words = document.querySelector('meta[name="testround-person"]')?.dataset;

async function storesOfPages() {
  const stores = "caches" in window ? await window.caches.keys() : [];
  return stores.filter((name) => name.startsWith(PAGES));
}

async function dropPages() {
  for (const name of await storesOfPages()) {
    await window.caches.delete(name);
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

/** A page that speaks another language than this one is fetched anew, and is gone where that fails. */
async function renewPage(store, kept) {
  const page = await store.match(kept, { ignoreVary: true });
  if (page.headers.get("Content-Language") === document.documentElement.lang) {
    return;
  }
  const answer = await fetch(kept.url, { credentials: "same-origin", redirect: "manual" });
  if (answer.ok) {
    await store.put(kept, answer);
  } else {
    await store.delete(kept, { ignoreVary: true });
  }
}

/** Pages that were kept before their reader chose another language. */
async function inOneLanguage() {
  if (!person || !navigator.onLine) {
    return;
  }
  try {
    for (const name of await storesOfPages()) {
      const store = await window.caches.open(name);
      for (const kept of await store.keys()) {
        if (new Address(kept.url).pathname.startsWith("/places/")) {
          await renewPage(store, kept);
        }
      }
    }
  } catch {
    // Without a network they stay as they are.
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
      says().say(words.noConnection);
      return;
    }
  }
  const left = await sendAll();
  const question = left === 1 ? words.leftOne : fillIn(words.left, { n: left });
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

onlyOwnPages().then(inOneLanguage);
for (const form of document.querySelectorAll("form[action$='/account/logout/']")) {
  form.addEventListener("submit", leave);
}
