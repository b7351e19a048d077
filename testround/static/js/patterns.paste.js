// A block of cells pasted into a field of the sheet. The server takes it apart and says what goes where, by the
// same rule as the plain form "Paste a block"; this only hands it over and puts the answer into the fields.

const form = document.querySelector("form[data-paste]");
const said = document.getElementById("paste-said");

/** Several cells, not one number: a spreadsheet puts tabs and line ends between them. */
function isBlock(text) {
  return /[\t\n;]/.test(text.trim()) || (text.match(/,/g) ?? []).length > 1;
}

async function pasted(event) {
  const field = event.target;
  const text = event.clipboardData?.getData("text/plain") ?? "";
  if (!(field instanceof HTMLInputElement) || !field.closest(".numbers-sheet td") || !isBlock(text)) {
    return;
  }
  event.preventDefault();
  const asked = new FormData(form);
  asked.set("paste-at", field.name);
  asked.set("paste-text", text);
  try {
    const response = await fetch(form.dataset.paste, {
      method: "POST",
      body: new URLSearchParams(asked),
      headers: { "X-Requested-With": "fetch" },
    });
    const answer = await response.json();
    if (response.ok) {
      say(answer.sentences, put(answer.cells));
    } else {
      say(answer.sentences);
    }
  } catch {
    say([said.dataset.failed]);
  }
}

/** Fields of a table go by their names; an id is their name with a mark before it. */
function fieldOf(id) {
  return form.elements.namedItem(id.replace(/^id_/, ""));
}

/** Put texts into their fields, and return what stood there before. */
function put(cells) {
  const before = {};
  for (const [id, text] of Object.entries(cells)) {
    const field = fieldOf(id);
    if (field) {
      before[id] = field.value;
      field.value = text;
    }
  }
  form.dispatchEvent(new Event("input", { bubbles: true }));
  return before;
}

/** Say what came of it where it stays in sight, with a way back from what was filled. */
function say(sentences, before) {
  const words = sentences.map((sentence) => {
    const line = document.createElement("p");
    line.textContent = sentence;
    return line;
  });
  said.classList.toggle("is-refused", !before);
  said.replaceChildren(...words);
  if (before) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "button-plain";
    button.textContent = said.dataset.back;
    button.addEventListener("click", () => {
      put(before);
      said.replaceChildren();
      fieldOf(Object.keys(before)[0])?.focus();
    });
    said.append(button);
  }
}

if (form && said) {
  form.addEventListener("paste", pasted);
}
