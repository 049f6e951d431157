// The sheet: cells open the pad, entries go through the outbox, changes of others come in by events.
import { deliver, forget, keep, newKey, waiting } from "./outbox.js";
import { Pad } from "./pad.js";

const root = document.getElementById("sheet");
const sheet = root.dataset.sheet;
const table = document.getElementById("table");
const known = document.getElementById("known");
const note = document.getElementById("outbox");
const AGAIN = 2000; // ms between two tries to reach the server
const LIFT = 60; // ms from a finger's lifting to its click, at most
let isConnected = true;
let lastEntry = null;
let isDelivered = false; // is an entry on the server that what is known may not say yet?

const pad = new Pad(document.getElementById("pad"), entered, photographed);

function cellOf(link) {
  const { round, quantity, place, label } = link.dataset;
  return {
    round,
    quantity,
    place,
    label,
    units: link.dataset.units.split(" "),
    seen: link.dataset.seen ? link.dataset.seen.split(",").map(Number) : [],
  };
}

table.addEventListener("click", (event) => {
  const link = event.target.closest("a.cell");
  if (link) {
    event.preventDefault();
    pad.open(cellOf(link));
  } else if (event.target.closest("#undo")) undo();
});

function linkOf(cell) {
  return [...table.querySelectorAll("a.cell")].find(
    (link) =>
      link.dataset.round === cell.round &&
      link.dataset.quantity === cell.quantity &&
      link.dataset.place === cell.place,
  );
}

// The cell below in the same round; after the last one the pad closes.
function nextOf(cell) {
  const own = [...table.querySelectorAll("a.cell")].filter(
    (link) => link.dataset.round === cell.round,
  );
  const at = own.findIndex(
    (link) => link.dataset.quantity === cell.quantity && link.dataset.place === cell.place,
  );
  return own.slice(at + 1).find((link) => link.classList.contains("is-empty"));
}

async function entered(cell, written) {
  const link = linkOf(cell);
  const seen = cell.seen ?? (link?.dataset.seen ? link.dataset.seen.split(",").map(Number) : []);
  const entry = {
    sheet,
    round: cell.round,
    label: cell.label,
    body: {
      quantity: cell.quantity,
      place: cell.place,
      written,
      entry_key: newKey(),
      seen,
    },
  };
  try {
    await keep(entry);
  } catch {
    pad.fail("This browser keeps nothing just now, so the reading was not taken. Make room on the device, then enter it again.");
    return;
  }
  await drawWaiting();
  const following = nextOf(cell);
  if (following && written !== null) pad.open(cellOf(following));
  else pad.close();
  send();
}

// A photo waits in the same outbox; the pad stays open for the reading that it shows.
async function photographed(cell, file) {
  try {
    // A copy: the phone's own file may be gone when the connection is back.
    const photo = new Blob([await file.arrayBuffer()], { type: file.type });
    await keep({
      sheet,
      round: cell.round,
      label: cell.label,
      name: file.name.slice(0, 200),
      photo,
      body: { quantity: cell.quantity, place: cell.place, entry_key: newKey() },
    });
  } catch {
    pad.fail("This browser keeps nothing just now, so the photo was not taken. Make room on the device, then take it again.");
    return;
  }
  pad.tell("✓ kept, goes out");
  await drawWaiting();
  send();
}

const shownAs = (entry) => (entry.photo ? "photo" : (entry.body.written ?? "taken back"));
const counted = (count, one, many) => (count ? [`${count} ${count === 1 ? one : many}`] : []);

function stored(entry, told, refusal) {
  if (refusal || entry.photo) return;
  lastEntry = { round: entry.round, entry: told.entry };
  isDelivered = true;
  const undoing = document.getElementById("undo");
  if (undoing) undoing.hidden = false;
}

async function send() {
  const reached = await deliver(stored);
  setConnected(reached);
  if (reached && isDelivered) {
    isDelivered = false;
    await renewKnown();
  }
  await drawWaiting();
  if (reached) await renewTable();
  else setTimeout(send, AGAIN);
}

function setConnected(now) {
  isConnected = now;
  const status = document.getElementById("connection");
  if (status) status.textContent = now ? "" : "No connection. Go on: readings are kept on this device and sent when it is back.";
  root.classList.toggle("is-away", !now);
}

// What waits or was refused, on its cell and in the line on top.
async function drawWaiting() {
  const entries = (await waiting().catch(() => [])).filter((entry) => entry.sheet === sheet);
  for (const mark of table.querySelectorAll(".cell-wait")) mark.remove();
  for (const entry of entries) {
    const link = linkOf({ round: entry.round, quantity: entry.body.quantity, place: entry.body.place });
    if (!link) continue;
    const state = entry.refused ? "refused" : "waiting";
    if (!entry.photo) {
      link.classList.add(`is-${state}`);
      link.classList.remove("is-empty");
      link.querySelector(".cell-text").textContent = shownAs(entry);
    }
    const mark = document.createElement("span");
    mark.className = "cell-wait";
    mark.textContent = entry.photo ? `photo ${state}` : state;
    link.append(mark);
  }
  const refused = entries.filter((entry) => entry.refused);
  const pending = entries.filter((entry) => !entry.refused);
  const photos = pending.filter((entry) => entry.photo).length;
  const lines = [];
  if (pending.length && !isConnected) {
    const what = [...counted(pending.length - photos, "reading", "readings"), ...counted(photos, "photo", "photos")];
    lines.push(`No connection: ${what.join(" and ")} ${pending.length === 1 ? "waits" : "wait"} on this device.`);
  }
  for (const entry of refused) lines.push(`${entry.label}, "${shownAs(entry)}" was refused: ${entry.refused}`);
  note.replaceChildren(...lines.map((line) => {
    const paragraph = document.createElement("span");
    paragraph.textContent = `${line} `;
    return paragraph;
  }));
  if (refused.length) {
    const clear = document.createElement("button");
    clear.type = "button";
    clear.className = "sheet-button";
    clear.textContent = "Seen, put it away";
    clear.addEventListener("click", async () => {
      for (const entry of refused) await forget(entry.number);
      await renewTable();
    });
    note.append(clear);
  }
  note.hidden = lines.length === 0;
}

// A tap on something that is replaced under the finger is lost: renew once the finger is up.
let isTouched = false;
const lifted = [];
document.addEventListener("pointerdown", () => { isTouched = true; }, true);
for (const kind of ["pointerup", "pointercancel"]) {
  document.addEventListener(kind, () => setTimeout(() => {
    isTouched = false;
    for (const go of lifted.splice(0)) go();
  }, LIFT), true);
}

function untouched() {
  return isTouched ? new Promise((resolve) => lifted.push(resolve)) : Promise.resolve();
}

async function piece(name, place) {
  const answer = await fetch(`/sheets/${sheet}/${name}`, { headers: { "HX-Request": "true" } });
  if (!answer.ok) return;
  const text = await answer.text();
  await untouched();
  const open = [...place.querySelectorAll("details")].map((each) => each.open);
  const scroll = place.querySelector(".sheet-scroll")?.scrollLeft;
  // The server's own template, in which everything that people wrote is escaped.
  const page = new DOMParser().parseFromString(text, "text/html");
  place.replaceChildren(...page.body.childNodes);
  if (scroll !== undefined && place.querySelector(".sheet-scroll")) place.querySelector(".sheet-scroll").scrollLeft = scroll;
  if (open.length === place.querySelectorAll("details").length) {
    place.querySelectorAll("details").forEach((each, index) => { each.open = open[index]; });
  }
}

// One renewal at a time; what changes meanwhile is drawn by one more.
function renewing(name, place, after) {
  let running = null;
  let isDue = false;
  async function run() {
    try {
      while (isDue) {
        isDue = false;
        await piece(name, place);
        await after();
      }
    } catch {
      setConnected(false);
    } finally {
      running = null;
    }
  }
  return () => {
    isDue = true;
    running ??= run();
    return running;
  };
}

const renewTable = renewing("table", table, async () => {
  const undoing = document.getElementById("undo");
  if (undoing) undoing.hidden = lastEntry === null;
  await drawWaiting();
});
const renewKnown = renewing("known", known, async () => {});

async function undo() {
  if (!lastEntry) return;
  const { round, entry } = lastEntry;
  lastEntry = null;
  try {
    await fetch(`/api/rounds/${round}/undo`, {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ entry, entry_key: newKey() }),
    });
    await renewTable();
  } catch {
    lastEntry = { round, entry };
    setConnected(false);
  }
}

function listen() {
  const stream = new EventSource(`/api/jobs/${root.dataset.job}/events?after=${root.dataset.after}`);
  let wasOpen = false;
  stream.onopen = () => {
    // Whatever was told while it was away is fetched, also where entries found their way before it.
    if (wasOpen || !isConnected) {
      renewTable();
      renewKnown();
    }
    wasOpen = true;
    setConnected(true);
    send();
  };
  stream.onerror = () => setConnected(false);
  stream.onmessage = (event) => {
    const told = JSON.parse(event.data);
    if (told.details.sheet && told.details.sheet !== sheet) return;
    if (told.kind === "answer step") {
      const working = known.querySelector(".known-working");
      if (working) working.textContent = `${told.details.what}: ${Math.round(100 * told.details.share)} %`;
      return;
    }
    if (told.kind === "answer" || told.kind === "answer failed") {
      renewKnown();
      renewTable();
    } else renewTable();
  };
}

window.addEventListener("online", send);
window.addEventListener("offline", () => setConnected(false));
drawWaiting().then(send);
listen();
// Only where the browser trusts the connection: on this computer, or with a certificate.
if (window.isSecureContext && "serviceWorker" in navigator) {
  navigator.serviceWorker.register("/away.js", { scope: "/" }).catch(() => {});
}
