// One touch copies a part of the short form. Where the browser gives no clipboard, the text is selected for Ctrl+C.
const status = document.querySelector("#status");

async function copy(button) {
  const text = document.getElementById(button.dataset.copy);
  let done = false;
  try {
    await navigator.clipboard.writeText(text.value);
    done = true;
  } catch {
    text.focus();
    text.select();
    done = document.execCommand("copy");
  }
  const told = button.dataset.told ??= button.textContent;
  for (const other of document.querySelectorAll("[data-copy][data-told]")) other.textContent = other.dataset.told;
  button.textContent = done ? "Copied" : "Selected: press Ctrl+C";
  status.textContent = done ? `${told}: done.` : "The text is selected; press Ctrl+C.";
}

for (const button of document.querySelectorAll("[data-copy]")) {
  button.hidden = !document.getElementById(button.dataset.copy).value;
  button.addEventListener("click", () => copy(button));
}
