// What a field says is told while it is typed: data-said is the address of the piece,
// data-said-into the element that shows it.
const DELAY_MS = 350;

export function follow(field) {
  let timer, ask;
  const tell = async () => {
    const place = document.getElementById(field.dataset.saidInto);
    if (!place) return;
    ask?.abort();
    ask = new AbortController();
    const query = new URLSearchParams({ [field.dataset.saidAs || field.name]: field.value });
    try {
      const answer = await fetch(`${field.dataset.said}?${query}`, { signal: ask.signal });
      if (answer.ok) place.innerHTML = await answer.text();
    } catch { /* no connection: it is said after sending */ }
  };
  field.addEventListener("input", () => { clearTimeout(timer); timer = setTimeout(tell, DELAY_MS); });
  field.addEventListener("change", () => { clearTimeout(timer); tell(); });
}

for (const field of document.querySelectorAll("[data-said]")) follow(field);
