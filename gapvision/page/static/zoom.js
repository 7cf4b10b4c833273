// A picture in a window: one finger moves it, two zoom it, a double tap comes nearer; the wheel, plus,
// minus, 0 and the arrow keys do the same.

const MOST = 12; // times as large as where all of it is seen
const KEY_PX = 60, DOUBLE_MS = 320, DOUBLE_PX = 40;

// `free(event)` says whether a single finger is the picture's; else another tool has it.
export function zoomable(frame, free = () => true) {
  const sheet = frame.querySelector(".sheet"), image = sheet.querySelector("img");
  const fingers = new Map();
  frame.classList.add("live");
  let width = 1, height = 1, fit = 1, scale = 1, x = 0, y = 0, tapped = null;
  const watchers = [];

  function whole() {
    width = Number(frame.dataset.width) || image.naturalWidth || 1;
    height = Number(frame.dataset.height) || image.naturalHeight || 1;
    sheet.style.width = `${width}px`;
    sheet.style.height = `${height}px`;
    fit = Math.min(frame.clientWidth / width, frame.clientHeight / height);
    scale = fit;
    place();
  }

  function across() { // as wide as the window, from the top
    scale = frame.clientWidth / width;
    x = 0;
    y = 0;
    place();
  }

  function place() {
    scale = Math.max(fit, Math.min(MOST * fit, scale));
    x = inside(x, frame.clientWidth, width * scale);
    y = inside(y, frame.clientHeight, height * scale);
    sheet.style.transform = `translate(${x}px, ${y}px) scale(${scale})`;
    watchers.forEach((watch) => watch());
  }

  function inside(at, room, size) { // in the middle where it is smaller than the window
    return size <= room ? (room - size) / 2 : Math.max(room - size, Math.min(0, at));
  }

  function about(cx, cy, factor) {
    const next = Math.max(fit, Math.min(MOST * fit, scale * factor));
    x = cx - ((cx - x) * next) / scale;
    y = cy - ((cy - y) * next) / scale;
    scale = next;
    place();
  }

  const middle = (factor) => about(frame.clientWidth / 2, frame.clientHeight / 2, factor);

  function local(event) {
    const box = frame.getBoundingClientRect();
    return { x: event.clientX - box.left - frame.clientLeft, y: event.clientY - box.top - frame.clientTop };
  }

  frame.addEventListener("pointerdown", (event) => {
    fingers.set(event.pointerId, local(event));
    frame.setPointerCapture(event.pointerId);
    if (fingers.size > 1 || !free(event)) { tapped = null; return; }
    const at = local(event);
    if (tapped && event.timeStamp - tapped.time < DOUBLE_MS && Math.hypot(at.x - tapped.x, at.y - tapped.y) < DOUBLE_PX) {
      about(at.x, at.y, scale > 3 * fit ? fit / scale : 3);
      tapped = null;
    } else tapped = { ...at, time: event.timeStamp };
  });
  frame.addEventListener("pointermove", (event) => {
    const old = fingers.get(event.pointerId);
    if (!old) return;
    const now = local(event);
    if (fingers.size === 1 && free(event)) {
      x += now.x - old.x;
      y += now.y - old.y;
      place();
    } else if (fingers.size === 2) {
      const other = Array.from(fingers).find(([id]) => id !== event.pointerId)[1];
      const before = Math.hypot(old.x - other.x, old.y - other.y);
      const after = Math.hypot(now.x - other.x, now.y - other.y);
      x += (now.x - old.x) / 2;
      y += (now.y - old.y) / 2;
      if (before > 0) about((now.x + other.x) / 2, (now.y + other.y) / 2, after / before);
    }
    fingers.set(event.pointerId, now);
  });
  for (const kind of ["pointerup", "pointercancel"]) {
    frame.addEventListener(kind, (event) => fingers.delete(event.pointerId));
  }
  frame.addEventListener("wheel", (event) => {
    event.preventDefault();
    const at = local(event);
    about(at.x, at.y, Math.exp(-event.deltaY / 400));
  }, { passive: false });
  frame.addEventListener("keydown", (event) => {
    const move = { ArrowLeft: [1, 0], ArrowRight: [-1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
    if (event.defaultPrevented || event.target !== frame) return;
    if (move) { x += move[0] * KEY_PX; y += move[1] * KEY_PX; place(); }
    else if (event.key === "+" || event.key === "=") middle(1.5);
    else if (event.key === "-") middle(1 / 1.5);
    else if (event.key === "0") whole();
    else return;
    event.preventDefault();
  });
  const begin = () => { whole(); if ("across" in frame.dataset) across(); };
  image.addEventListener("load", begin);
  addEventListener("resize", begin);
  begin();

  return {
    whole, across, in: () => middle(1.6), out: () => middle(1 / 1.6),
    watch: (watcher) => watchers.push(watcher),
    fingers: () => fingers.size,
    scale: () => scale,
    // A point of the window in px of the sheet.
    toSheet: (event) => { const at = local(event); return [(at.x - x) / scale, (at.y - y) / scale]; },
    show: (sx, sy, times) => {
      scale = times * fit;
      x = frame.clientWidth / 2 - sx * scale;
      y = frame.clientHeight / 2 - sy * scale;
      place();
    },
  };
}
