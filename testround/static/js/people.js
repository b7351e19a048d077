/* The preferences page: offers the time zone this device is set to. */

const select = document.querySelector("#id_time_zone");
const here = Intl.DateTimeFormat().resolvedOptions().timeZone;

if (select && here && here !== select.value && [...select.options].some((option) => option.value === here)) {
  const offer = document.createElement("button");
  offer.type = "button";
  offer.className = "button-plain";
  offer.textContent = select.dataset.says.replace("{zone}", here.replaceAll("_", " "));
  offer.addEventListener("click", () => {
    select.value = here;
    select.focus();
    offer.remove();
  });
  select.after(offer);
}
