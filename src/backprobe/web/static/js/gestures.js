// Fingers, mouse, wheel and keys on a stretch of time: drag moves it, two fingers or the wheel widen and narrow it,
// a tap sets a cursor, a double tap shows the whole.
const TAP = 9; // px that a finger may wander in a tap
const TWICE = 350; // ms between the taps of a double tap

export function listen(box, view) {
  const fingers = new Map();
  let from = null;
  let lastTap = 0;

  const state = () => {
    const xs = [...fingers.values()].map((each) => each.x);
    return { centre: xs.reduce((sum, x) => sum + x, 0) / xs.length, spread: xs.length > 1 ? Math.abs(xs[0] - xs[1]) : 0 };
  };

  const begin = () => {
    from = { ...state(), range: [...view.range()], perPixel: view.secondsPerPixel(), time: view.timeAt(state().centre) };
  };

  box.addEventListener("pointerdown", (event) => {
    if (event.button > 0) return;
    fingers.set(event.pointerId, { x: event.clientX, y: event.clientY, startX: event.clientX, startY: event.clientY, moved: false });
    try { box.setPointerCapture(event.pointerId); } catch { /* the finger is up already */ }
    begin();
  });

  box.addEventListener("pointermove", (event) => {
    const finger = fingers.get(event.pointerId);
    if (!finger || !from) return;
    finger.x = event.clientX;
    finger.y = event.clientY;
    if (Math.hypot(finger.x - finger.startX, finger.y - finger.startY) > TAP) finger.moved = true;
    if (![...fingers.values()].some((each) => each.moved)) return;
    const now = state();
    const factor = from.spread > 20 && now.spread > 20 ? from.spread / now.spread : 1;
    const width = (from.range[1] - from.range[0]) * factor;
    const left = from.time - (from.time - from.range[0]) * factor - (now.centre - from.centre) * from.perPixel * factor;
    view.setRange(left, left + width);
  });

  const end = (event) => {
    const finger = fingers.get(event.pointerId);
    fingers.delete(event.pointerId);
    if (fingers.size) begin();
    else from = null;
    if (!finger || finger.moved || event.type === "pointercancel" || fingers.size) return;
    if (event.timeStamp - lastTap < TWICE) {
      lastTap = 0;
      view.whole();
    } else {
      lastTap = event.timeStamp;
      view.tap(event.clientX);
    }
  };
  box.addEventListener("pointerup", end);
  box.addEventListener("pointercancel", end);

  box.addEventListener("wheel", (event) => {
    event.preventDefault();
    view.zoom(Math.exp(event.deltaY * 0.0015), view.timeAt(event.clientX));
  }, { passive: false });

  box.addEventListener("keydown", (event) => {
    const [start, end_] = view.range();
    const step = (end_ - start) / (event.shiftKey ? 500 : 50);
    if (event.key === "ArrowLeft") view.moveCursor(-step);
    else if (event.key === "ArrowRight") view.moveCursor(step);
    else if (event.key === "+" || event.key === "=") view.zoom(0.5);
    else if (event.key === "-") view.zoom(2);
    else if (event.key === "PageUp") view.setRange(start - (end_ - start) / 2, end_ - (end_ - start) / 2);
    else if (event.key === "PageDown") view.setRange(start + (end_ - start) / 2, end_ + (end_ - start) / 2);
    else if (event.key === "Home") view.whole();
    else if (event.key.toLowerCase() === "a") view.choose("A");
    else if (event.key.toLowerCase() === "b") view.choose("B");
    else return;
    event.preventDefault();
  });
}
