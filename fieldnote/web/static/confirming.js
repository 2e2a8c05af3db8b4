// Confirming one entry after another without a new page: the next one gets the focus. The page's own form does it else.
import { post } from "/static/asking.js";

const status = document.querySelector("#status");

async function confirm(form) {
  const entry = form.closest("[data-entry]");
  const button = form.querySelector("button");
  button.disabled = true;
  let told;
  try {
    told = await post(form.action, new FormData(form));
  } catch {
    form.submit();
    return;
  }
  if (!told.left) {
    location.reload();  // what stays open may have changed with it, and the hash
    return;
  }
  entry.classList.add("done");
  button.replaceWith(Object.assign(document.createElement("strong"), { textContent: "Confirmed" }));
  status.textContent = `Confirmed. ${told.left} left.`;
  document.querySelector(".confirm .entry:not(.done) .play, .confirm .entry:not(.done) button")?.focus();
}

document.addEventListener("submit", (event) => {
  if (!event.target.matches(".confirms")) return;
  event.preventDefault();
  confirm(event.target);
});
