/* Copying an invitation's link. Without this file the link can be selected and copied by hand. */

for (const button of document.querySelectorAll("[data-copy]")) {
  const link = document.getElementById(button.dataset.copy);
  const said = button.parentElement.querySelector("[data-copy-said]");
  button.hidden = false;
  button.addEventListener("click", async () => {
    try {
      await navigator.clipboard.writeText(link.value);
      said.textContent = said.dataset.says;
    } catch {
      link.select();
      said.textContent = said.dataset.saysElse;
    }
  });
}

for (const link of document.querySelectorAll("[data-copy-from]")) {
  link.addEventListener("focus", () => link.select());
}
