// Files dropped anywhere on the page are taken in.
const form = document.getElementById("take-in");
const input = form?.querySelector("input[type=file]");
const holdsFiles = (event) => event.dataTransfer?.types.includes("Files");

if (input) {
  addEventListener("dragover", (event) => {
    if (!holdsFiles(event)) return;
    event.preventDefault();
    form.closest("details").open = true;
    form.classList.add("is-over");
  });
  addEventListener("dragleave", (event) => { if (!event.relatedTarget) form.classList.remove("is-over"); });
  addEventListener("drop", (event) => {
    if (!holdsFiles(event)) return;
    event.preventDefault();
    input.files = event.dataTransfer.files;
    form.requestSubmit();
  });
}
