// Requests that change something: with the token of this page, fetched anew where the server was started again.
export const token = () => document.querySelector("input[name=token]")?.value ?? "";

export async function freshToken() {
  const page = await fetch(location.pathname, { headers: { accept: "text/html" } });
  const fresh = new DOMParser().parseFromString(await page.text(), "text/html").querySelector("input[name=token]")?.value;
  if (fresh) for (const field of document.querySelectorAll("input[name=token]")) field.value = fresh;
}

// The answer as JSON. What the server refuses is thrown with `refused` set: sending it again would not help.
export async function post(path, form) {
  for (const again of [true, false]) {
    const answer = await fetch(path, { method: "POST", body: form, headers: { accept: "application/json", "x-fieldnote-token": token() } });
    if (answer.status === 403 && again) { await freshToken(); continue; }
    const told = await answer.json().catch(() => ({}));
    if (answer.ok) return told;
    const fault = new Error(told.error?.what ?? `the server answered ${answer.status}`);
    fault.refused = answer.status === 422 || answer.status === 404;
    throw fault;
  }
}
