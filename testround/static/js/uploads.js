/* Photos go one after the other, each with how far it has come; one that did not get through is tried again under its
   own key, so that none arrives twice. Without this file the form sends one photo at a time. */

import { freshToken, newKey, token } from "./phone.js";

const form = document.querySelector("[data-uploads]");
const words = form.dataset;
const list = form.querySelector("[data-upload-list]");
const told = form.querySelector("[data-upload-says]");
const chooser = form.elements.photo;
let running = false;
let next = "";

/** One photo: its file, what goes with it, and its line on the page. */
class Upload {
  constructor(file, key) {
    this.file = file;
    this.key = key;
    this.caption = form.elements.caption?.value ?? "";
    this.dimension = form.elements.dimension?.value ?? "";
    this.seen = form.elements.seen?.checked ?? false;
    this.state = "waits";
    this.line = document.createElement("li");
    this.said = document.createElement("span");
    this.bar = document.createElement("progress");
    this.bar.max = 100;
    this.bar.value = 0;
    this.bar.setAttribute("aria-label", file.name);
    this.controls = document.createElement("span");
    this.line.append(this.said, this.bar, this.controls);
    list.append(this.line);
    this.say(words.waits);
  }

  say(how) {
    this.said.textContent = `${this.file.name}: ${how}`;
  }

  offer(...buttons) {
    this.controls.replaceChildren(...buttons.flatMap((one) => [one, " "]));
  }

  failed(state, how) {
    this.state = state;
    this.bar.hidden = true;
    this.say(how);
    told.textContent = this.said.textContent;
    const again = control(words.again, () => {
      this.state = "waits";
      run();
    });
    const off = control(words.off, () => {
      this.state = "off";
      this.line.remove();
      chooser.focus();
      finish();
    });
    this.offer(...(state === "refused" ? [off] : [again, off]));
  }
}

const uploads = [];

function control(text, press) {
  const made = document.createElement("button");
  made.type = "button";
  made.className = "button-plain";
  made.textContent = text;
  made.addEventListener("click", press);
  return made;
}

/** One attempt; gives the request when it is over, whatever came of it. */
function attempt(upload, withToken) {
  return new Promise((resolve) => {
    const body = new FormData();
    body.append("key", upload.key);
    body.append("caption", upload.caption);
    body.append("dimension", upload.dimension);
    if (upload.seen) {
      body.append("seen", "on");
    }
    body.append("photo", upload.file);
    const request = new XMLHttpRequest();
    request.open("POST", form.action);
    request.setRequestHeader("Accept", "application/json");
    request.setRequestHeader("X-CSRFToken", withToken);
    request.upload.addEventListener("progress", (event) => {
      if (event.lengthComputable) {
        upload.bar.value = Math.round((100 * event.loaded) / event.total);
      }
    });
    request.addEventListener("loadend", () => resolve(request));
    request.send(body);
  });
}

/** What the server found wrong, from the page it answered with. */
function complaint(request) {
  const page = new DOMParser().parseFromString(request.responseText, "text/html");
  return [...page.querySelectorAll(".form-errors li")].map((item) => item.textContent.trim()).join(" ");
}

async function send(upload) {
  upload.state = "on its way";
  upload.bar.hidden = false;
  upload.bar.value = 0;
  upload.offer();
  upload.say(words.onItsWay);
  let request = await attempt(upload, token());
  if (request.status === 403) {
    request = await attempt(upload, await freshToken().catch(() => token()));
  }
  if (request.status === 0) {
    upload.failed("no connection", words.noConnection);
  } else if (request.responseURL.includes("/account/login/")) {
    upload.failed("signed out", words.signedOut);
  } else if (request.status === 200) {
    next = JSON.parse(request.responseText).next;
    upload.state = "arrived";
    upload.bar.value = 100;
    upload.say(words.arrived);
    told.textContent = upload.said.textContent;
  } else if (request.status === 422) {
    upload.failed("refused", complaint(request));
  } else {
    // Where the server says why, as with a disk that is full, so does its line.
    upload.failed("no server", complaint(request) || words.noServer);
  }
}

async function run() {
  if (running) {
    return;
  }
  running = true;
  for (let upload; (upload = uploads.find((one) => one.state === "waits")); ) {
    await send(upload);
  }
  running = false;
  finish();
}

/** With all of them there, or left out, the page is shown anew with its photos. */
function finish() {
  if (next && !running && uploads.every((one) => one.state === "arrived" || one.state === "off")) {
    window.location.assign(next);
    window.location.reload();
  }
}

function onSubmit(event) {
  event.preventDefault();
  const files = [...chooser.files];
  if (!files.length) {
    told.textContent = words.choose;
    chooser.focus();
    return;
  }
  if (form.elements.seen && !form.elements.seen.checked) {
    // The form itself says what is missing.
    form.submit();
    return;
  }
  list.hidden = false;
  files.forEach((file) => {
    const upload = new Upload(file, newKey());
    uploads.push(upload);
    if (file.size > Number(words.most)) {
      upload.failed("refused", words.tooLarge);
    }
  });
  form.reset();
  if (form.elements.seen) {
    form.elements.seen.checked = true;
  }
  run();
}

chooser.multiple = true;
form.addEventListener("submit", onSubmit);
window.addEventListener("online", () => {
  for (const upload of uploads.filter((one) => one.state === "no connection")) {
    upload.state = "waits";
  }
  run();
});
window.addEventListener("beforeunload", (event) => {
  if (uploads.some((one) => ["waits", "on its way", "no connection"].includes(one.state))) {
    event.preventDefault();
  }
});
