// A picture that was taken is read at once: one touch less.
const file = document.querySelector("#photo");
file.addEventListener("change", () => {
  if (!file.files.length) return;
  document.querySelector("#status").textContent = "Reading the picture.";
  file.form.querySelector("button").setAttribute("aria-busy", "true");
  file.form.requestSubmit();
});
