// Sends a large file piece by piece; what was sent stays sent when the connection breaks.
const form = document.getElementById("send");
const progress = document.getElementById("send-progress");
const status = document.getElementById("send-status");
const PIECE = 4 * 1024 * 1024;
const AGAIN = 2000; // ms between two tries
const TRIES = 30;

async function told(answer) {
  const content = await answer.json().catch(() => ({}));
  return [content.what, content.remedy].filter(Boolean).join(" ") || `The server answered ${answer.status}.`;
}

async function send(file) {
  const begun = await fetch(`/api/jobs/${form.dataset.job}/incoming`, {
    method: "POST",
    headers: { "Content-Type": "application/json" },
    body: JSON.stringify({ name: file.name.slice(0, 200), size: file.size }),
  });
  if (!begun.ok) throw new Error(await told(begun));
  const { key } = await begun.json();
  let there = 0;
  let tries = 0;
  while (there < file.size) {
    progress.value = there / file.size;
    status.textContent = `${(there / 1e6).toFixed(1)} of ${(file.size / 1e6).toFixed(1)} MB sent`;
    let answer;
    try {
      answer = await fetch(`/api/incoming/${key}?offset=${there}`, { method: "PUT", headers: { "Content-Type": "application/octet-stream" }, body: file.slice(there, there + PIECE) });
    } catch {
      tries += 1;
      if (tries > TRIES) throw new Error("The connection does not come back. Send the file again when it does.");
      status.textContent = "No connection. Trying again; what was sent is kept.";
      await new Promise((resolve) => setTimeout(resolve, AGAIN));
      continue;
    }
    if (!answer.ok) throw new Error(await told(answer));
    tries = 0;
    there = (await answer.json()).there;
  }
  progress.value = 1;
  status.textContent = "All sent. Reading it …";
  location.assign(`/incoming/${key}`);
}

form.addEventListener("submit", (event) => {
  const [file] = document.getElementById("file").files;
  if (!file) return;
  event.preventDefault();
  progress.hidden = false;
  send(file).catch((error) => {
    status.textContent = error.message;
    progress.hidden = true;
  });
});
