// What is still on this device: frames of sound and photos in IndexedDB, kept until the server has confirmed them.
const open = new Promise((done, failed) => {
  const request = indexedDB.open("fieldnote", 2);
  request.onupgradeneeded = () => {
    for (const old of [...request.result.objectStoreNames]) request.result.deleteObjectStore(old);
    request.result.createObjectStore("takes", { keyPath: "id" });
    request.result.createObjectStore("frames", { keyPath: ["take", "n"] });
    request.result.createObjectStore("photos", { keyPath: "id" });
  };
  request.onsuccess = () => done(request.result);
  request.onerror = () => failed(request.error);
});

async function run(stores, mode, work) {
  const db = await open;
  return new Promise((done, failed) => {
    const transaction = db.transaction(stores, mode, mode === "readwrite" ? { durability: "strict" } : undefined);
    const result = work(transaction);
    transaction.oncomplete = () => done(result?.result ?? result);
    transaction.onerror = () => failed(transaction.error);
    transaction.onabort = () => failed(transaction.error);
  });
}

const upTo = (id, n) => IDBKeyRange.bound([id, 0], [id, n], false, true);

// ---- sound ----
// A take: id, job ("" where the server could not be asked for one yet), start (the page that began it), at, frames,
// samples, done, kept (frames that the server has on its disk).
export const takes = () => run(["takes"], "readonly", (t) => t.objectStore("takes").getAll());
export const put = (take) => run(["takes"], "readwrite", (t) => t.objectStore("takes").put({ ...take }));
export const frame = (id, n) => run(["frames"], "readonly", (t) => t.objectStore("frames").get([id, n]));

// Frames and what is known of their take, in one transaction.
export const add = (take, frames) =>
  run(["takes", "frames"], "readwrite", (t) => {
    for (const { n, samples, own } of frames) t.objectStore("frames").put({ take: take.id, n, samples, own });
    t.objectStore("takes").put({ ...take });
  });

// The server has the first `kept` frames: they are forgotten here.
export const confirm = (take, kept) =>
  run(["takes", "frames"], "readwrite", (t) => {
    t.objectStore("frames").delete(upTo(take.id, kept));
    t.objectStore("takes").put({ ...take, kept });
  });

export const forget = (id) =>
  run(["takes", "frames"], "readwrite", (t) => {
    t.objectStore("takes").delete(id);
    t.objectStore("frames").delete(upTo(id, Infinity));
  });

// Takes that a page of this browser is recording right now: the others leave them to it.
export async function recording() {
  const locks = await navigator.locks?.query();
  return new Set((locks?.held ?? []).map(({ name }) => name.split(" ")).filter(([what]) => what === "take").map(([, id]) => id));
}

// ---- photos ----
export const photos = () => run(["photos"], "readonly", (t) => t.objectStore("photos").getAll());
export const putPhoto = (photo) => run(["photos"], "readwrite", (t) => t.objectStore("photos").put(photo));
export const forgetPhoto = (id) => run(["photos"], "readwrite", (t) => t.objectStore("photos").delete(id));
