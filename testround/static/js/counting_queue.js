/* Presses on the counting page, kept on this phone until the server has them. Each stands by itself, so that two
   windows never write over one another; a press that arrives twice is counted once, by its key. */

import { names, newKey, postJson, read, remove, write } from "./phone.js";

export const MOST_AT_ONCE = 300;
let running = null;

export function add(place, url, event) {
  const press = { id: newKey(), at: new Date().toISOString(), ...event };
  // Named by time, so that they are sent in the order they were pressed.
  const name = `press ${place} ${Date.now()} ${press.id}`;
  write(name, { url, press });
  return press;
}

/** Of one place, in order. */
export function waitingAt(place) {
  return names(`press ${place} `)
    .sort((one, other) => Number(one.split(" ")[2]) - Number(other.split(" ")[2]))
    .map((name) => ({ name, ...read(name) }))
    .filter((entry) => entry.press);
}

/** Send what waits at a place. Gives the server's answer, null where nothing waits. Throws without a network. */
export async function flushPlace(place, { leaving = false } = {}) {
  const entries = waitingAt(place).slice(0, MOST_AT_ONCE);
  if (!entries.length) {
    return null;
  }
  const events = entries.map((entry) => entry.press);
  const answer = await postJson(entries[0].url, { events }, { keepalive: leaving });
  if (!answer.ok) {
    throw new Error(`answered ${answer.status}`);
  }
  const said = await answer.json();
  const settled = new Set([...said.taken, ...said.refused]);
  for (const entry of entries) {
    if (settled.has(entry.press.id)) {
      remove(entry.name);
    }
  }
  return said;
}

/** Send what waits at every place, as far as it goes. */
export async function flushCounting() {
  running ??= (async () => {
    const places = new Set(names("press ").map((name) => name.split(" ")[1]));
    for (const place of places) {
      try {
        while (await flushPlace(place)) {
          // Until nothing waits.
        }
      } catch {
        // It stays here.
      }
    }
    running = null;
  })();
  return running;
}
