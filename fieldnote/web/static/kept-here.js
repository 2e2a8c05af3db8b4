// Recordings that are still on this device: pieces of PCM in IndexedDB, kept until the server has confirmed them.
const open = new Promise((done, failed) => {
  const request = indexedDB.open("fieldnote", 1);
  request.onupgradeneeded = () => {
    request.result.createObjectStore("takes", { keyPath: "id" });
    request.result.createObjectStore("pieces", { keyPath: ["take", "n"] });
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

const piecesOf = (id) => IDBKeyRange.bound([id, 0], [id, Infinity]);

export const begin = (take) => run(["takes"], "readwrite", (t) => t.objectStore("takes").put(take));
export const takes = () => run(["takes"], "readonly", (t) => t.objectStore("takes").getAll());
export const add = (take, n, samples) => run(["pieces"], "readwrite", (t) => t.objectStore("pieces").put({ take, n, samples }));
export const pieces = (id) => run(["pieces"], "readonly", (t) => t.objectStore("pieces").getAll(piecesOf(id)));
export const forget = (id) =>
  run(["takes", "pieces"], "readwrite", (t) => {
    t.objectStore("takes").delete(id);
    t.objectStore("pieces").delete(piecesOf(id));
  });

// 16-bit PCM as a WAV file (RIFF: Multimedia Programming Interface and Data Specifications 1.0, 1991).
export function wav(parts, rate) {
  const length = parts.reduce((sum, part) => sum + part.samples.length, 0);
  const head = new DataView(new ArrayBuffer(44));
  const text = (at, value) => [...value].forEach((c, i) => head.setUint8(at + i, c.charCodeAt(0)));
  text(0, "RIFF");
  head.setUint32(4, 36 + length * 2, true);
  text(8, "WAVEfmt ");
  head.setUint32(16, 16, true);
  head.setUint16(20, 1, true);
  head.setUint16(22, 1, true);
  head.setUint32(24, rate, true);
  head.setUint32(28, rate * 2, true);
  head.setUint16(32, 2, true);
  head.setUint16(34, 16, true);
  text(36, "data");
  head.setUint32(40, length * 2, true);
  return new Blob([head, ...parts.map((part) => part.samples)], { type: "audio/wav" });
}
