/* What every page gains when scripts run. Each page works without this file. */

const PATIENCE_MS = 8000;

/** A form that is on its way says so, and is not sent twice by a second press. When the network lets
    it down, it can be sent again after a while. */
function sendOnce(event) {
  const form = event.target;
  if (!(form instanceof HTMLFormElement) || form.method !== "post" || event.defaultPrevented) {
    return;
  }
  if (form.dataset.sent === "yes") {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "yes";
  window.setTimeout(sendAgain, PATIENCE_MS);
  const button = event.submitter;
  if (button instanceof HTMLButtonElement && button.dataset.sending) {
    // As wide as before: the second of two presses would else meet what stands beside it.
    button.style.minWidth = `${button.offsetWidth}px`;
    button.dataset.label = button.textContent;
    button.textContent = button.dataset.sending;
  }
}

/** Back from the next page: the form may be sent again. */
function sendAgain() {
  for (const form of document.querySelectorAll("form[data-sent]")) {
    delete form.dataset.sent;
  }
  for (const button of document.querySelectorAll("button[data-label]")) {
    button.textContent = button.dataset.label;
    delete button.dataset.label;
  }
}

/** The first thing to mend gets the reader's attention once the page is there. */
function goToErrors() {
  const errors = document.querySelector(".form-errors");
  if (errors) {
    errors.tabIndex = -1;
    errors.focus();
  }
}

document.addEventListener("submit", sendOnce);
window.addEventListener("pageshow", sendAgain);
goToErrors();
