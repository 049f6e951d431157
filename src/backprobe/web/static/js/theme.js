// Day or night: as the system says, unless somebody chose otherwise on this device.
const KEY = "backprobe-theme";
const root = document.documentElement;

function kept() {
  try { return localStorage.getItem(KEY); } catch { return null; } // storage can be forbidden
}

function keep(theme) {
  try { localStorage.setItem(KEY, theme); } catch { /* it holds for this page then */ }
}

const isNight = () => root.dataset.theme
  ? root.dataset.theme === "night"
  : matchMedia("(prefers-color-scheme: dark)").matches;

function offer() {
  const button = document.getElementById("theme");
  if (!button) return;
  const name = () => { button.textContent = isNight() ? "Day view" : "Night view"; };
  button.hidden = false;
  name();
  button.addEventListener("click", () => {
    root.dataset.theme = isNight() ? "day" : "night";
    keep(root.dataset.theme);
    name();
  });
}

if (["day", "night"].includes(kept())) root.dataset.theme = kept();
if (document.readyState === "loading") document.addEventListener("DOMContentLoaded", offer);
else offer();
