/* What is kept on this phone, by person; and posting to the server with a token that counts. */

const PATIENCE_MS = 20000;
export const person = document.querySelector('meta[name="testround-person"]')?.content ?? "";
const MINE = `testround ${person} `;

/** The page came from the server that somebody has signed out of. */
export class SignedOut extends Error {}

export function read(name) {
  try {
    return JSON.parse(window.localStorage.getItem(MINE + name));
  } catch {
    return null;
  }
}

/** Whether it is kept: a browser that keeps nothing, or whose store is full, says no. */
export function write(name, value) {
  try {
    window.localStorage.setItem(MINE + name, JSON.stringify(value));
    return true;
  } catch {
    return false;
  }
}

export function remove(name) {
  try {
    window.localStorage.removeItem(MINE + name);
  } catch {
    // Nothing was kept.
  }
}

/** The names that begin like this, of this person alone. */
export function names(beginning) {
  try {
    return Object.keys(window.localStorage)
      .filter((key) => key.startsWith(MINE + beginning))
      .map((key) => key.slice(MINE.length));
  } catch {
    return [];
  }
}

export function newKey() {
  if (window.crypto.randomUUID) {
    return window.crypto.randomUUID();
  }
  // Where the address is not https there is no randomUUID. RFC 9562, version 4.
  const bytes = window.crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return `${hex.slice(0, 8)}-${hex.slice(8, 12)}-${hex.slice(12, 16)}-${hex.slice(16, 20)}-${hex.slice(20)}`;
}

/** The token of the moment: signing in gives a new one, and pages that were open keep the old. */
export function token() {
  return document.cookie.match(/(?:^|; )(?:__Host-)?csrftoken=([^;]+)/)?.[1] ?? "";
}

export async function freshToken() {
  const answer = await fetch("/places/token/", { credentials: "same-origin", redirect: "manual", cache: "no-store" });
  if (answer.type === "opaqueredirect") {
    throw new SignedOut();
  }
  return answer.ok ? (await answer.json()).token : token();
}

/** Post, and once more with a fresh token where the first was refused. Throws where there is no network. */
export async function post(url, body, { keepalive = false, patience = PATIENCE_MS } = {}) {
  const send = (with_token) =>
    fetch(url, {
      method: "POST",
      body,
      headers: { Accept: "application/json", "X-CSRFToken": with_token },
      credentials: "same-origin",
      redirect: "manual",
      keepalive,
      signal: keepalive ? undefined : AbortSignal.timeout(patience),
    });
  let answer = await send(token());
  if (answer.status === 403) {
    answer = await send(await freshToken());
  }
  if (answer.type === "opaqueredirect") {
    throw new SignedOut();
  }
  return answer;
}

export function postJson(url, document, options) {
  return post(url, JSON.stringify(document), options);
}

/** Words with what they speak of in place of its names in braces. */
export function fillIn(words, values) {
  return words.replace(/\{(\w+)\}/g, (_, name) => values[name]);
}

/** Run when there may be a network again, or the page is looked at again. */
export function whenBack(run) {
  window.addEventListener("online", run);
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") {
      run();
    }
  });
}

/** Run when the page may be gone for good the next moment, and there is a network. */
export function whenLeaving(run) {
  const leave = () => {
    if (navigator.onLine) {
      run();
    }
  };
  window.addEventListener("pagehide", leave);
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "hidden") {
      leave();
    }
  });
}

/** A moment as it is written here. */
export function dateTime(milliseconds) {
  return new Date(milliseconds).toLocaleString(document.documentElement.lang, {
    dateStyle: "long",
    timeStyle: "short",
  });
}

/** Where this page says what happens to what was sent; read out when it changes. */
export function says(before) {
  let region = document.querySelector(".phone-says");
  if (!region) {
    region = document.createElement("div");
    region.className = "phone-says notice";
    region.setAttribute("role", "status");
    region.setAttribute("aria-live", "polite");
    region.hidden = true;
    (before ?? document.querySelector("main").firstElementChild).before(region);
  }
  return {
    say(words, ...controls) {
      const line = document.createElement("p");
      line.textContent = `${words} `;
      line.append(...controls);
      region.hidden = false;
      region.replaceChildren(line);
    },
    hush() {
      region.hidden = true;
      region.replaceChildren();
    },
  };
}

export function button(words, press) {
  const made = document.createElement("button");
  made.type = "button";
  made.className = "button-plain";
  made.textContent = words;
  made.addEventListener("click", press);
  return made;
}

export function link(words, url) {
  const made = document.createElement("a");
  made.textContent = words;
  made.href = url;
  return made;
}
