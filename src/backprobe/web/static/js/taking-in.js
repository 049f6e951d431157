// A large file takes some time to be taken in: how far it is stands above the button meanwhile.
const form = document.getElementById("keep");
const progress = document.getElementById("keep-progress");
const EVERY = 500; // ms

form?.addEventListener("submit", (event) => {
  if (event.submitter?.value !== "keep") return;
  progress.hidden = false;
  progress.removeAttribute("value");
  setInterval(async () => {
    const answer = await fetch(`/api/incoming/${form.dataset.key}`).catch(() => null);
    if (!answer?.ok) return;
    const { taken_in: share } = await answer.json();
    if (share !== null) progress.value = share;
  }, EVERY);
});
