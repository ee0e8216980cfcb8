// Handles over the picture. With the pointer the picture itself is taken hold of, where one sees the thing: the iris, the pupil's
// edge, the limbus, a catchlight, and empty space for the camera. For the keyboard and for fingers each is a button, too.
import { make, at, draw, tidy } from "./make.js";
import { gesture, turn, aim, act, eye, value, listen, complain, state } from "./desk.js";
import { post } from "./talk.js";
import { say } from "./say.js";
import * as stage from "./stage.js";

let marks = null;
let over = ""; // the part that the pointer or the focus is on
let taken = false; // a drag goes on: the part stays the same
let led = null; // where a dragged light's catchlight is led, before pictures show it there
const buttons = new Map(); // by handle

// what each handle does, and the keys that a double click takes back.
const kinds = {
  orbit: { label: "Camera: goes round the eye", keys: () => ["camera.orbit.azimuth", "camera.orbit.elevation"] },
  environment: { label: "Surroundings: turn about the eye", keys: () => ["light_setup.rotation", ...environments().map(n => "lights." + n + ".rotation")] },
  gaze: { label: "Gaze: where the eye looks", keys: () => ["objects." + eye() + ".gaze.azimuth", "objects." + eye() + ".gaze.elevation"] },
  pupil: { label: "Pupil: its size", keys: () => ["objects." + eye() + ".iris.pupil"] },
  limbus: { label: "Limbus: its width", keys: () => ["objects." + eye() + ".limbus.width", "objects." + eye() + ".paint.limbus.size"] },
};

const environments = () => state.lights.map(l => l.name || l).filter(n => value("lights." + n + ".kind") === "environment");
const isLight = h => h.startsWith("light ");
const keysOf = h => isLight(h) ? ["azimuth", "elevation"].map(k => "lights." + h.slice(6) + ".orbit." + k) : kinds[h].keys();
const labelOf = h => isLight(h) ? "Catchlight of " + h.slice(6) : kinds[h].label;

// rightmost returns the point of an outline that lies furthest along a direction.
function furthest(outline, dx, dy) {
  return outline.reduce((b, p) => p[0] * dx + p[1] * dy > b[0] * dx + b[1] * dy ? p : b, outline[0]);
}

// places returns where each handle's button stands, in shares of the film.
function places() {
  const out = { orbit: [stage.box()[0] + 0.06 * (stage.box()[2] - stage.box()[0]), stage.box()[3] - 0.06 * (stage.box()[3] - stage.box()[1])] };
  out.environment = [out.orbit[0] + 0.075 * (stage.box()[2] - stage.box()[0]), out.orbit[1]];
  if (!marks) return out;
  if (marks.pupil && marks.pupil.length) out.pupil = furthest(marks.pupil, 1, 0.15);
  if (marks.limbus && marks.limbus.length) {
    out.limbus = furthest(marks.limbus, 0.8, 0.6);
    const low = furthest(marks.limbus, 0, 1);
    out.gaze = marks.centre ? [marks.centre[0] + 0.62 * (low[0] - marks.centre[0]), marks.centre[1] + 0.62 * (low[1] - marks.centre[1])] : low;
  }
  for (const c of marks.catchlights || []) if (c.seen !== false && c.place) out["light " + c.light] = c.place;
  return out;
}

// inside tells whether a point lies in a closed outline.
function inside(outline, x, y) {
  let odd = false;
  for (let i = 0, j = outline.length - 1; i < outline.length; j = i++) {
    const [x0, y0] = outline[i], [x1, y1] = outline[j];
    if (y0 > y !== y1 > y && x < (x1 - x0) * (y - y0) / (y1 - y0) + x0) odd = !odd;
  }
  return odd;
}

// near returns the distance from a point to an outline, in pixels of the page.
function near(outline, x, y) {
  return outline.reduce((d, p) => Math.min(d, stage.apart(p, [x, y])), Infinity);
}

// part returns the handle at a point of the film.
export function part(x, y) {
  if (!marks) return "orbit";
  let best = "", least = 16;
  for (const c of marks.catchlights || []) {
    if (c.seen === false || !c.place) continue;
    const d = stage.apart(c.place, [x, y]);
    if (d < least) [best, least] = ["light " + c.light, d];
  }
  if (best) return best;
  if (marks.pupil && marks.pupil.length && near(marks.pupil, x, y) < 9) return "pupil";
  if (!marks.limbus || !marks.limbus.length) return "orbit";
  if (near(marks.limbus, x, y) < 9) return "limbus";
  return inside(marks.limbus, x, y) ? "gaze" : "orbit";
}

// lead puts a catchlight's handle where the hand leads it.
function lead(light, place) {
  if (taken) led = { light, place };
  const c = led && marks && (marks.catchlights || []).find(c => c.light === led.light);
  if (!c) return;
  c.place = led.place;
  lay();
}

// take says that a drag of a handle begins or ends.
function take(handle) {
  taken = handle !== "";
  led = null;
  at("sheet").dataset.taken = taken;
  if (taken) point(handle);
}

// ground names what lies at a point of the film: iris, white or beside.
export function ground(x, y) {
  if (!marks || !marks.limbus || !marks.limbus.length) return "beside";
  if (inside(marks.limbus, x, y)) return "iris";
  const c = marks.centre || marks.limbus[0], wide = Math.max(...marks.limbus.map(p => stage.apart(p, c)));
  return stage.apart([x, y], c) < 2 * wide ? "white" : "beside"; // an eyeball is about twice as wide as its limbus
}

// move does one stretch of a drag.
function move(handle, from, to, fine, g) {
  if (isLight(handle)) {
    lead(handle.slice(6), to);
    aim({ light: handle.slice(6), x: to[0], y: to[1] }, g);
  } else {
    turn(handle, from, to, fine, g);
  }
}

export const reset = handle => Promise.all(keysOf(handle).filter(k => state.edited.includes(k)).map(k => act("/reset", { key: k })));

let turning = false; // E is held, or the button is pressed: a drag turns the surroundings
addEventListener("keydown", e => { if (e.key === "e" && !stage.writing(e)) turning = true; });
addEventListener("keyup", e => { if (e.key === "e") turning = false; });

// begin makes the picture a thing to take hold of.
export function begin() {
  const sheet = at("sheet");
  const never = { when: -1e4, x: 0, y: 0 };
  let drag = null, clicked = never;
  sheet.addEventListener("pointerdown", e => {
    if (stage.pinching()) { // a second finger: what the first took hold of is let go
      if (drag && drag.going) stage.dragging(false);
      drag = null;
      take("");
      return;
    }
    if (e.button || e.target.tagName === "BUTTON") return;
    const p = stage.film(e);
    const handle = turning || e.ctrlKey || e.metaKey ? "environment" : part(...p);
    drag = { id: e.pointerId, handle, from: p, last: p, x: e.clientX, y: e.clientY, g: gesture(), going: false };
    if (isLight(handle)) {
      const c = marks.catchlights.find(c => c.light === handle.slice(6));
      drag.off = [c.place[0] - p[0], c.place[1] - p[1]]; // the light stays under the finger as it was taken
    }
    sheet.setPointerCapture(e.pointerId);
  });
  sheet.addEventListener("pointermove", e => {
    const p = stage.film(e);
    if (!drag) {
      if (!taken) point(part(...p));
      return;
    }
    if (!drag.going && Math.hypot(e.clientX - drag.x, e.clientY - drag.y) < 3) return;
    if (!drag.going) {
      take(drag.handle);
      stage.dragging(true);
    }
    drag.going = true;
    const to = drag.off ? [drag.last[0] + (p[0] - drag.last[0]) * (e.altKey ? 0.1 : 1), drag.last[1] + (p[1] - drag.last[1]) * (e.altKey ? 0.1 : 1)] : p;
    if (drag.off) move(drag.handle, null, [to[0] + drag.off[0], to[1] + drag.off[1]], e.altKey, drag.g);
    else move(drag.handle, drag.last, to, e.altKey, drag.g);
    drag.last = to;
  });
  const end = e => {
    if (!drag) return;
    const d = drag;
    drag = null;
    if (d.going) {
      take("");
      stage.dragging(false);
      return;
    }
    if (e.type !== "pointerup") return;
    if (e.timeStamp - clicked.when < 400 && Math.hypot(e.clientX - clicked.x, e.clientY - clicked.y) < 6) {
      clicked = never;
      reset(d.handle);
    } else {
      clicked = { when: e.timeStamp, x: e.clientX, y: e.clientY };
      pick(d.from);
    }
  };
  sheet.addEventListener("pointerup", end);
  sheet.addEventListener("pointercancel", end);
  sheet.addEventListener("pointerleave", () => { if (!drag) point(""); });
  stage.onMarks(m => {
    marks = m;
    if (led) lead(led.light, led.place);
    lay();
  });
  stage.onView(lay);
  listen(lay);
}

// pick asks what lies under a point of the film and writes it below the picture.
export async function pick([x, y]) {
  try {
    const p = await post("/pick", { x, y });
    const lines = (p.places || []).map(q => [[q.object, q.zone, q.shell && q.shell + " shell"].filter(t => t).join(", "),
      ...(q.maps || []).map(m => m.slot + (m.map ? " " + m.map : "") + (m.texel ? " texel " + m.texel.join(", ") : "") + " = " + [].concat(m.value).map(tidy).join(" ")),
      "at " + (q.place || []).map(v => v.toFixed(2)).join(", ") + " mm"].join(" · "));
    at("picked").textContent = lines.join("\n") || "nothing there";
    say(at("picked").textContent);
  } catch (e) {
    complain(e);
  }
}

// point shows which part a drag would take.
function point(handle) {
  if (over === handle) return;
  over = handle;
  at("sheet").dataset.over = handle.split(" ")[0];
  at("hint").textContent = handle ? labelOf(handle) : "";
  lay();
}

// lay puts buttons and lines where the marks are.
function lay() {
  const where = places();
  for (const [h, b] of buttons) {
    if (!where[h]) {
      b.remove();
      buttons.delete(h);
    }
  }
  for (const [h, p] of Object.entries(where)) {
    if (!buttons.has(h)) buttons.set(h, button(h));
    const [left, top] = stage.share(p);
    const b = buttons.get(h);
    b.style.left = 100 * left + "%";
    b.style.top = 100 * top + "%";
    b.hidden = left < 0 || left > 1 || top < 0 || top > 1;
  }
  lines();
}

// button makes a handle's button: arrows move it, Shift far, Alt finely; Delete or a double click takes it back.
function button(handle) {
  const b = make("button", { className: "handle " + handle.split(" ")[0], type: "button", title: labelOf(handle), "aria-label": labelOf(handle) + ". Arrow keys move it" });
  if (isLight(handle)) b.dataset.light = handle.slice(6);
  let g = "", timer = 0;
  b.addEventListener("keydown", e => {
    if (e.key === "Delete" || e.key === "Backspace") {
      reset(handle);
      return;
    }
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[e.key];
    if (!way) return;
    e.preventDefault();
    clearTimeout(timer);
    timer = setTimeout(() => {
      g = "";
      stage.dragging(false);
    }, 1000);
    if (!g) {
      g = gesture();
      stage.dragging(true);
    }
    const by = 0.01 * (e.shiftKey ? 10 : e.altKey ? 0.1 : 1);
    const from = places()[handle];
    const to = [from[0] + by * way[0], from[1] + by * way[1]];
    move(handle, from, to, false, g);
    say(labelOf(handle) + ", moved");
  });
  b.addEventListener("focus", () => point(handle));
  b.addEventListener("blur", () => point(""));
  let drag = null;
  b.addEventListener("pointerdown", e => {
    if (e.button) return;
    e.stopPropagation();
    drag = { last: stage.film(e), g: gesture(), going: false };
    b.setPointerCapture(e.pointerId);
  });
  b.addEventListener("pointermove", e => {
    if (!drag) return;
    const p = stage.film(e);
    if (!drag.going && stage.apart(p, drag.last) < 3) return;
    if (!drag.going) {
      take(handle);
      stage.dragging(true);
    }
    drag.going = true;
    move(handle, drag.last, p, e.altKey, drag.g);
    drag.last = p;
  });
  const end = () => {
    if (drag && drag.going) {
      take("");
      stage.dragging(false);
    }
    drag = null;
  };
  b.addEventListener("pointerup", end);
  b.addEventListener("pointercancel", end);
  b.addEventListener("dblclick", () => reset(handle));
  at("sheet").append(b);
  return b;
}

let scatter = 0; // mm; 0 shows no circle
// showScatter draws a radius at scale on the picture.
export function showScatter(mm) {
  scatter = mm;
  at("hint").textContent = mm > 0 ? "half of the light that comes back leaves within this circle" : over ? labelOf(over) : "";
  lines();
}

let pointed = ""; // a part that a control points to
export function show(name) {
  pointed = name;
  lines();
}

// lines draws the outlines of the part at hand, and the scatter radius.
function lines() {
  const g = at("lines");
  g.replaceChildren();
  const [x0, y0, x1, y1] = stage.box();
  g.setAttribute("viewBox", [x0, y0, x1 - x0, y1 - y0].join(" "));
  if (!marks) return;
  const path = o => "M" + o.map(p => p.join(" ")).join("L") + "Z";
  const what = pointed || over;
  if ((what === "pupil" || what === "iris") && marks.pupil && marks.pupil.length) g.append(draw("path", { d: path(marks.pupil) }));
  if ((what === "limbus" || what === "gaze" || what === "iris") && marks.limbus && marks.limbus.length) g.append(draw("path", { d: path(marks.limbus) }));
  if (scatter > 0 && marks.millimetres_per_width > 0 && marks.limbus && marks.limbus.length) {
    const r = scatter / marks.millimetres_per_width;
    const c = furthest(marks.limbus, -1, 0);
    const tall = state.film.width / state.film.height;
    let x = c[0] - Math.max(2.5 * r, 0.05), y = c[1];
    if (x - r < x0 || x + r > x1 || y - r * tall < y0 || y + r * tall > y1) [x, y] = [(x0 + x1) / 2, (y0 + y1) / 2]; // in sight
    for (const name of ["scale under", "scale"]) g.append(draw("ellipse", { cx: x, cy: y, rx: r, ry: r * tall, class: name }));
  }
}
