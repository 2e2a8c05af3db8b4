// A box that shows what is typed: passphrases are long, and gloves hit the wrong key. Without scripts there is none.
const fields = [...document.querySelectorAll("input[type=password]")];
if (fields.length) {
  const label = document.createElement("label");
  label.className = "tick";
  const box = document.createElement("input");
  box.type = "checkbox";
  label.append(box, " Show what I type");
  fields.at(-1).closest(".field").after(label);
  const show = () => { for (const field of fields) field.type = box.checked ? "text" : "password"; };
  box.addEventListener("change", show);
  // Hidden again before it is sent, so that no browser keeps it as ordinary text.
  fields[0].form.addEventListener("submit", () => { box.checked = false; show(); });
}
