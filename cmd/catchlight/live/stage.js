// The stage: one canvas for traced, raster, and what they are compared with; divider, zoom, what is kept from before a change, and
// how sure the picture is.
import { at, tidy } from "./make.js";
import { Look } from "./picture.js";
import { send, showed } from "./talk.js";
import { state, value, listen, complain, foresee } from "./desk.js";
import { say } from "./say.js";

export const looks = { traced: new Look(), raster: new Look(), alone: new Look() };
const before = { traced: new Look(), raster: new Look() }; // as they were when the last change began
export const other = new Look(); // the reference: a snapshot, or the other side
export let otherExposure = 0;

let zoom = 1, centre = [0.5, 0.5];
let drags = 0, held = "", aloneHeld = false;
const markers = new Set(), viewers = new Set();

export const onMarks = f => markers.add(f);
export const onView = f => viewers.add(f);

// writing tells whether a key goes into a field.
export function writing(e) {
  const t = e.target;
  return e.ctrlKey || e.metaKey || t.tagName === "SELECT" || t.tagName === "TEXTAREA" || t.tagName === "INPUT" && (t.type === "text" || t.type === "search");
}

// box returns the part of the film that is shown: x0, y0, x1, y1 in shares of it.
export function box() {
  const half = 0.5 / zoom;
  const x = Math.min(1 - half, Math.max(half, centre[0])), y = Math.min(1 - half, Math.max(half, centre[1]));
  return [x - half, y - half, x + half, y + half];
}

// film returns the point of the film under the pointer.
export function film(e) {
  const r = at("picture").getBoundingClientRect();
  const [x0, y0, x1, y1] = box();
  return [x0 + (x1 - x0) * (e.clientX - r.left) / r.width, y0 + (y1 - y0) * (e.clientY - r.top) / r.height];
}

// share returns where a point of the film stands on the stage, in shares of it.
export function share([x, y]) {
  const [x0, y0, x1, y1] = box();
  return [(x - x0) / (x1 - x0), (y - y0) / (y1 - y0)];
}

// apart returns how far two points of the film are from each other, in pixels of the page.
export function apart(a, b) {
  const r = at("picture").getBoundingClientRect();
  return Math.hypot((a[0] - b[0]) * r.width * zoom, (a[1] - b[1]) * r.height * zoom);
}

// whole returns the size of the whole film in pixels at this zoom.
function whole() {
  const c = at("picture");
  const k = Math.min(zoom, 2048 / c.width);
  return [Math.round(c.width * k), Math.round(c.height * k)];
}

// fit gives the canvas the size that is worked at, and the film's shape.
function fit() {
  const c = at("picture");
  const { width, height } = state.film;
  const side = Math.min(Number(at("work").value), Math.max(64, width, height)); // no finer than the film before one zooms
  const w = width >= height ? side : Math.max(1, Math.round(side * width / height)), h = width >= height ? Math.max(1, Math.round(side * height / width)) : side;
  at("frame").style.setProperty("--shape", width / height);
  if (c.width === w && c.height === h) return false;
  c.width = w;
  c.height = h;
  return true;
}

// first says that the traced picture has got far enough for the raster look to be asked for, too: what that bakes would hold it up.
let first = false;
const far = h => h.width >= at("picture").width || h.samples > 3;

let told = "";
// view tells the server what is looked at.
export function view() {
  fit();
  const [width, height] = whole();
  const compared = at("beside").value;
  const what = { width, height, crop: zoom > 1 ? box() : [0, 0, 0, 0], drag: drags > 0, raster: first && compared === "raster" && Number(at("divider").value) < 1000, alone: aloneHeld ? at("map").value : "" };
  paint();
  for (const f of viewers) f();
  if (told === JSON.stringify(what)) return;
  told = JSON.stringify(what);
  send("view", "/view", what).catch(complain);
}

// dragging says that a gesture began or ended.
export function dragging(on) {
  drags += on ? 1 : -1;
  view();
}

// take shows a frame.
export function take(header, bytes) {
  const look = looks[header.look];
  if (!look) return;
  const [w, h] = whole();
  if (!look.take(header, bytes, w, h)) return;
  if (header.marks) {
    for (const c of header.marks.catchlights || []) c.mm ??= c.off;
    for (const f of markers) f(header.marks);
  }
  if (header.look === "alone") at("picked").textContent = header.words || "";
  if (header.look === "traced") {
    tell(header);
    if (!first && far(header)) {
      first = true;
      view();
    }
  }
  if (header.look === "raster" && toldOld && !header.old) oldFrom = 0;
  age();
  paint();
  at("frame").dataset[header.look] = header.run;
  if (header.look === "traced") showed(header.run);
}

let oldFrom = 0; // the raster side is old until a frame of this run
let newest = 0; // run of the scene's newest state
let toldOld = false; // the server says by itself what is old

// older takes the word that the raster side is old.
export function older(h) {
  if (h.look !== "raster") return;
  toldOld = true;
  oldFrom = h.run || Infinity;
  paint();
}

// renewed takes the word that the raster side is of the scene as it is again.
export function renewed(h) {
  if (h.look !== "raster") return;
  toldOld = true;
  oldFrom = 0;
  if (looks.raster.frame) looks.raster.frame = { ...looks.raster.frame, old: false };
  paint();
}

// changed takes the run of the scene's newest state. The raster side gets old as soon as the traced one shows that.
export function changed(run) {
  newest = Math.max(newest, run || 0);
  age();
}

function age() {
  const t = looks.traced.frame;
  if (!toldOld && t && t.run >= newest) oldFrom = newest;
}

// isOld tells whether the raster side shows an older state of the scene than the traced one.
const isOld = () => !!looks.raster.frame && (!!looks.raster.frame.old || looks.raster.frame.run < oldFrom);

// tell writes how sure the picture is.
function tell(h) {
  const sure = at("sure");
  const known = h.error > 0 && !h.rough;
  sure.dataset.enough = !!h.enough;
  const words = [h.enough ? "Good enough" : "Getting better", h.width + " px", h.samples + (h.samples === 1 ? " sample" : " samples")];
  if (known) words.splice(1, 0, "a pixel off by about " + tidy(Number(h.error.toPrecision(2))) + " of 255");
  if (h.rough) words.splice(1, 0, "rough");
  if (h.clean) words.push("grain taken out");
  if (h.smaller) words.push("made at smaller maps");
  sure.textContent = sure.title = words.join(" · ");
  at("surer").value = known ? Math.max(0, Math.min(1, 1 - Math.log2(1 + h.error) / 6)) : 0;
  say(words.join(", "));
}

// paint draws the stage.
export function paint() {
  const c = at("picture"), to = c.getContext("2d", { willReadFrequently: false });
  const from = held === "before" ? before : looks;
  to.clearRect(0, 0, c.width, c.height); // pictures may let what is behind them through
  if (aloneHeld && looks.alone.frame) {
    part(to, looks.alone.canvas, 0, c.width);
    named("");
    return;
  }
  const border = Math.round(c.width * at("divider").value / 1000);
  const compared = at("beside").value;
  const right = compared === "raster" ? from.raster : compared === "before" ? before.traced : other;
  const empty = !right.frame && compared === "raster" && border < c.width && !!from.traced.frame;
  const has = right.frame && border < c.width;
  part(to, from.traced.canvas, 0, has || empty ? border : c.width);
  const old = compared === "raster" && held !== "before" && isOld();
  named(border > 0.9 * c.width || held === "before" ? "" : empty ? "raster look: being drawn" : !has ? "" : compared === "raster" ? (old ? "raster look: old" : "raster look") : at("beside").selectedOptions[0].textContent);
  if (empty) {
    to.fillStyle = "#4a4a4a";
    to.fillRect(border, 0, c.width - border, c.height);
  }
  if (!has) return;
  const ev = compared === "raster" || compared === "before" || !at("level").checked ? 0 : (value("view.exposure") || 0) - otherExposure;
  part(to, ev ? lifted(right.canvas, ev) : right.canvas, border, c.width);
  if (!old) return;
  to.fillStyle = "rgb(74 74 74 / .55)";
  to.fillRect(border, 0, c.width - border, c.height);
}

// named writes what stands at the right of the divider.
function named(text) {
  if (at("rightname").textContent !== text) at("rightname").textContent = text;
}

// part draws what of a look is shown, from one column of the canvas to another.
function part(to, look, x0, x1) {
  if (x1 <= x0 || !look.width) return;
  const [l, t, r, b] = box();
  const { width, height } = to.canvas;
  const w = (r - l) * look.width, h = (b - t) * look.height;
  to.imageSmoothingEnabled = true;
  to.drawImage(look, l * look.width + w * x0 / width, t * look.height, w * (x1 - x0) / width, h, x0, 0, x1 - x0, height);
}

const lift = document.createElement("canvas");
// lifted returns a picture at another exposure: its display signal is decoded, multiplied and coded again, so the tone curve stays out.
function lifted(from, ev) {
  lift.width = from.width;
  lift.height = from.height;
  const g = lift.getContext("2d", { willReadFrequently: true });
  g.drawImage(from, 0, 0);
  const image = g.getImageData(0, 0, lift.width, lift.height), d = image.data;
  const table = new Uint8ClampedArray(256);
  const gain = Math.pow(2, ev);
  for (let i = 0; i < 256; i++) {
    const s = i / 255, lin = gain * (s <= 0.04045 ? s / 12.92 : Math.pow((s + 0.055) / 1.055, 2.4));
    table[i] = 255 * (lin <= 0.0031308 ? 12.92 * lin : 1.055 * Math.pow(lin, 1 / 2.4) - 0.055);
  }
  for (let i = 0; i < d.length; i += 4) {
    d[i] = table[d[i]];
    d[i + 1] = table[d[i + 1]];
    d[i + 2] = table[d[i + 2]];
  }
  g.putImageData(image, 0, 0);
  return lift;
}

// keep sets aside what is shown, when a change begins.
function keep() {
  for (const l of ["traced", "raster"]) before[l].copy(looks[l]);
}

// reference puts a picture beside the traced one.
export function reference(look, exposure, as = "kept") {
  other.copy(look);
  otherExposure = exposure;
  at("beside").value = as;
  if (Number(at("divider").value) >= 1000) at("divider").value = 500;
  view();
}

// hold shows something as long as a key or button is down.
function hold(what, on) {
  if (what === "alone") {
    if (aloneHeld === on) return;
    aloneHeld = on;
    if (on) looks.alone.frame = null;
    at("holdmap").setAttribute("aria-pressed", on);
    view();
    return;
  }
  held = on ? what : "";
  at("holdbefore").setAttribute("aria-pressed", on);
  paint();
}

// holder makes a button that holds.
function holder(button, what) {
  const on = () => hold(what, true), off = () => hold(what, false);
  button.addEventListener("pointerdown", on);
  for (const e of ["pointerup", "pointerleave", "pointercancel", "blur"]) button.addEventListener(e, off);
  button.addEventListener("keydown", e => { if (e.key === " " || e.key === "Enter") { e.preventDefault(); on(); } });
  button.addEventListener("keyup", e => { if (e.key === " " || e.key === "Enter") off(); });
}

function zoomTo(z, about) {
  const [x0, y0, x1, y1] = box();
  const p = about || centre;
  const sx = (p[0] - x0) / (x1 - x0), sy = (p[1] - y0) / (y1 - y0);
  zoom = Math.min(8, Math.max(1, z));
  centre = [p[0] + (0.5 - sx) / zoom, p[1] + (0.5 - sy) / zoom];
  const b = box();
  centre = [(b[0] + b[2]) / 2, (b[1] + b[3]) / 2];
  at("zoom").textContent = zoom === 1 ? "whole" : tidy(Number(zoom.toFixed(1))) + "×";
  view();
}

// pan moves what is shown, by shares of it.
function pan(dx, dy) {
  const b = box();
  centre = [centre[0] + dx * (b[2] - b[0]), centre[1] + dy * (b[3] - b[1])];
  zoomTo(zoom, centre);
}

const fingers = new Map(); // by pointer, where it is on the page

// pinching says whether two fingers hold the picture.
export const pinching = () => fingers.size > 1;

// pinch lets two fingers move and zoom what is shown.
function pinch(sheet) {
  const both = () => {
    const [a, b] = [...fingers.values()];
    return { x: (a.clientX + b.clientX) / 2, y: (a.clientY + b.clientY) / 2, wide: Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY) || 1 };
  };
  sheet.addEventListener("pointerdown", e => { if (e.pointerType === "touch") fingers.set(e.pointerId, e); }, true);
  sheet.addEventListener("pointermove", e => {
    if (!fingers.has(e.pointerId)) return;
    const from = pinching() ? both() : null;
    fingers.set(e.pointerId, e);
    if (!from) return;
    const to = both(), r = at("picture").getBoundingClientRect();
    zoomTo(zoom * to.wide / from.wide, film({ clientX: from.x, clientY: from.y }));
    pan((from.x - to.x) / r.width, (from.y - to.y) / r.height);
  }, true);
  for (const name of ["pointerup", "pointercancel"]) sheet.addEventListener(name, e => fingers.delete(e.pointerId), true);
}

export function begin() {
  pinch(at("sheet"));
  for (const id of ["further", "fit", "closer"]) {
    at(id).addEventListener("keydown", e => {
      const way = { ArrowLeft: [-0.1, 0], ArrowRight: [0.1, 0], ArrowUp: [0, -0.1], ArrowDown: [0, 0.1] }[e.key];
      if (!way) return;
      e.preventDefault();
      pan(...way);
    });
  }
  at("divider").addEventListener("input", () => {
    at("frame").style.setProperty("--border", at("divider").value / 1000);
    view();
  });
  at("frame").style.setProperty("--border", at("divider").value / 1000);
  for (const id of ["beside", "work", "map"]) at(id).addEventListener("change", view);
  at("level").addEventListener("change", paint);
  holder(at("holdbefore"), "before");
  holder(at("holdmap"), "alone");
  at("closer").addEventListener("click", () => zoomTo(zoom * 1.5));
  at("further").addEventListener("click", () => zoomTo(zoom / 1.5));
  at("fit").addEventListener("click", () => zoomTo(1));
  at("sheet").addEventListener("wheel", e => {
    e.preventDefault();
    if (e.shiftKey) pan(Math.sign(e.deltaY || e.deltaX) * 0.1, 0);
    else zoomTo(zoom * Math.pow(1.0015, -e.deltaY), film(e));
  }, { passive: false });
  addEventListener("keydown", e => {
    if (writing(e) || e.repeat && (e.key === "b" || e.key === "m")) return;
    if (e.key === "b") hold("before", true);
    if (e.key === "m") hold("alone", true);
    if (e.key === "+" || e.key === "=") zoomTo(zoom * 1.5);
    if (e.key === "-") zoomTo(zoom / 1.5);
    if (e.key === "0") zoomTo(1);
    if (e.target === document.body && zoom > 1) {
      const way = { ArrowLeft: [-0.1, 0], ArrowRight: [0.1, 0], ArrowUp: [0, -0.1], ArrowDown: [0, 0.1] }[e.key];
      if (way) pan(...way);
    }
  });
  addEventListener("keyup", e => {
    if (e.key === "b") hold("before", false);
    if (e.key === "m") hold("alone", false);
  });
  addEventListener("blur", () => {
    hold("before", false);
    hold("alone", false);
  });
  foresee(keep);
  listen(() => { if (fit()) view(); });
}
