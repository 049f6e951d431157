// Readings and photos wait here until the server has acknowledged them: in the browser's own data base, so that
// neither a lost connection nor a reload loses one. Each has a key of its own; sent twice, the
// server stores it once.
const NAME = "backprobe";
const STORE = "outbox";

function opened() {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => request.result.createObjectStore(STORE, { keyPath: "number", autoIncrement: true });
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

async function inStore(mode, work) {
  const base = await opened();
  try {
    return await new Promise((resolve, reject) => {
      const change = base.transaction(STORE, mode, mode === "readwrite" ? { durability: "strict" } : {});
      const request = work(change.objectStore(STORE));
      change.oncomplete = () => resolve(request.result);
      change.onerror = () => reject(change.error);
      change.onabort = () => reject(change.error);
    });
  } finally {
    base.close();
  }
}

export const keep = (entry) => inStore("readwrite", (store) => store.add(entry));
export const replace = (entry) => inStore("readwrite", (store) => store.put(entry));
export const forget = (number) => inStore("readwrite", (store) => store.delete(number));
export const waiting = () => inStore("readonly", (store) => store.getAll());

// crypto.randomUUID is missing on a plain http address of a local network.
export function newKey() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

function sent(entry) {
  const { quantity, place, entry_key: key } = entry.body;
  if (!entry.photo) {
    return fetch(`/api/rounds/${entry.round}/entries`, {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify(entry.body),
      signal: AbortSignal.timeout(10000),
    });
  }
  const about = new URLSearchParams({ quantity, place, name: entry.name });
  return fetch(`/api/rounds/${entry.round}/files/${key}?${about}`, {
    method: "PUT",
    headers: { "Content-Type": "application/octet-stream" },
    body: entry.photo,
    signal: AbortSignal.timeout(120000),
  });
}

// Readings before photos, which take long on a weak connection; each kind oldest first.
async function inTurn() {
  const all = await waiting();
  return [...all.filter((entry) => !entry.photo), ...all.filter((entry) => entry.photo)];
}

let isSending = false;

// Deliver what waits. Returns false where the server can't be reached.
export async function deliver(onDone) {
  if (isSending) return true;
  isSending = true;
  try {
    for (const entry of await inTurn()) {
      if (entry.refused) continue;
      let answer;
      try {
        answer = await sent(entry);
      } catch {
        return false;
      }
      if (answer.ok) {
        const told = await answer.json();
        await forget(entry.number);
        onDone(entry, told, null);
      } else if (answer.status >= 500 || answer.status === 401 || answer.status === 429) {
        return false;
      } else {
        const told = await answer.json().catch(() => ({ what: "It was refused.", remedy: "" }));
        await replace({ ...entry, refused: `${told.what} ${told.remedy}`.trim() });
        onDone(entry, null, told);
      }
    }
    return true;
  } finally {
    isSending = false;
  }
}
