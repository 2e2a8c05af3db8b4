// Touches in the bay that must not break off what is being said: forms of the page are sent without leaving it.
import * as answers from "/static/answers.js";
import { apply } from "/static/hearing.js";

const status = document.querySelector("#status");
const why = document.querySelector("#talk-why");

document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (!form.closest("[data-live], [data-stay]") || form.method !== "post" || !document.querySelector(".talk")?.dataset.job) return;
  event.preventDefault();
  const pressed = event.submitter;
  pressed?.setAttribute("aria-busy", "true");
  try {
    const answer = await fetch(form.action, { method: "POST", body: new FormData(form, pressed), headers: { accept: "text/html" } });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    if (!answer.ok) throw new Error(page.querySelector(".fault, main p")?.textContent.trim() || `the server answered ${answer.status}`);
    apply(page);
    status.textContent = page.querySelector(".notice p")?.textContent.trim() || "Kept.";
    why.textContent = "";
    answers.tone("kept");
    if (form.matches("[data-stay]")) form.reset();
  } catch (fault) {
    why.textContent = fault instanceof TypeError ? "No answer from the server: nothing was changed. Touch it again later." : fault.message;
    answers.tone("not understood");
  } finally { pressed?.removeAttribute("aria-busy"); }
});
