/* Passkeys: a form with `data-passkey` asks the browser for one before it is sent.

   create   makes one, with the options in #passkey-options
   get      uses one, with the options in #passkey-options
   ask      uses one, with options that the form's address gives to whoever asks it; such a form is hidden until here
            it is known that the browser can do it

   Options and answers are written as W3C's Web Authentication has them in JSON (section 5.1.10), bytes in base64url. */

const bytes = (text) =>
  Uint8Array.from(atob(text.replaceAll("-", "+").replaceAll("_", "/")), (letter) => letter.charCodeAt(0));
const text = (buffer) =>
  btoa(String.fromCharCode(...new Uint8Array(buffer))).replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");

const credentialsOf = (list) => (list ?? []).map((one) => ({ ...one, id: bytes(one.id) }));

async function make({ publicKey }) {
  const made = await navigator.credentials.create({
    publicKey: {
      ...publicKey,
      challenge: bytes(publicKey.challenge),
      user: { ...publicKey.user, id: bytes(publicKey.user.id) },
      excludeCredentials: credentialsOf(publicKey.excludeCredentials),
      // One that can be used without a password: the device keeps whose it is, and has itself unlocked.
      authenticatorSelection: { residentKey: "required", requireResidentKey: true, userVerification: "required" },
    },
  });
  return written(made, {
    attestationObject: text(made.response.attestationObject),
    transports: made.response.getTransports?.() ?? [],
  });
}

async function use({ publicKey }) {
  const used = await navigator.credentials.get({
    publicKey: {
      ...publicKey,
      challenge: bytes(publicKey.challenge),
      allowCredentials: credentialsOf(publicKey.allowCredentials),
    },
  });
  return written(used, {
    authenticatorData: text(used.response.authenticatorData),
    signature: text(used.response.signature),
    userHandle: used.response.userHandle ? text(used.response.userHandle) : null,
  });
}

function written(credential, answer) {
  return {
    type: credential.type,
    id: credential.id,
    rawId: text(credential.rawId),
    authenticatorAttachment: credential.authenticatorAttachment,
    clientExtensionResults: credential.getClientExtensionResults(),
    response: { clientDataJSON: text(credential.response.clientDataJSON), ...answer },
  };
}

async function optionsFor(form) {
  if (form.dataset.passkey !== "ask") {
    const given = JSON.parse(document.getElementById("passkey-options").textContent);
    return given.creation_options ?? given.request_options;
  }
  const answer = await fetch(form.action, { headers: { Accept: "application/json" } });
  if (!answer.ok) throw new TypeError(`answered with ${answer.status}`);
  return (await answer.json()).request_options;
}

function wordsFor(form, error) {
  if (error.name === "InvalidStateError") return form.dataset.thereAlready;
  if (error.name === "SecurityError" || error.name === "NotSupportedError") return form.dataset.impossible;
  return error instanceof TypeError ? form.dataset.noConnection : form.dataset.refused;
}

const isPossible = Boolean(window.PublicKeyCredential && navigator.credentials);
// What a browser knows a site by is a name; at a bare address it has no passkeys.
const isNamed = !/^[\d.]+$|^\[/.test(location.hostname);

for (const form of document.querySelectorAll("form[data-passkey]")) {
  const says = form.querySelector("[data-passkey-says]");
  const say = (words) => {
    says.textContent = words;
    says.hidden = !words;
  };
  // An answer holds once: neither one that was refused nor one kept with the page is sent again.
  addEventListener("pageshow", () => {
    form.elements.credential.value = "";
  });
  if (form.dataset.passkey === "ask") form.hidden = !(isPossible && isNamed);
  form.addEventListener("submit", async (event) => {
    const field = form.elements.credential;
    if (field.value) return;
    event.preventDefault();
    say("");
    if (!isPossible) {
      say(form.dataset.impossible);
      return;
    }
    try {
      const options = await optionsFor(form);
      field.value = JSON.stringify(await (form.dataset.passkey === "create" ? make(options) : use(options)));
    } catch (error) {
      say(wordsFor(form, error));
      return;
    }
    form.requestSubmit();
  });
}
