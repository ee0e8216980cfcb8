// Fields: one for each kind of value. Every field says its key, shows its value, and shows beside itself what was wrong.
import { make, tidy } from "./make.js";
import { dragging } from "./stage.js";
import { field, span, fault, hold, range } from "./keys.js";
import { value, set, gesture, listen, problem, problemOf, act, acts, state, there, unset } from "./desk.js";

let count = 0;
const fresh = () => "f" + ++count;

// brief writes a unit as short as it is read.
const brief = unit => unit === "degrees" ? "°" : unit || "";

// steps of a slider from one end to the other.
const steps = 1000;

// Dial is a number with a slider and a box. of() reads it, put(x, gesture) writes it; both may stand for several keys.
// what: {label, unit, keys, of, put, a, b, low, high, ratio, whole, title}; where it is no plain number, {read, write, wrap, wanted}: what
// is typed to a number, a number as it is said, a number brought into its turn, and what is wanted.
export function dial(what) {
  const id = fresh();
  const f = what.field || { limits: { low: what.low ?? null, high: what.high ?? null }, unit: what.unit, kind: "number" };
  const label = make("label", { className: "scrub", htmlFor: id, title: what.title || "" }, what.label);
  const box = make("input", { id, type: "text", inputMode: "decimal", autocomplete: "off", "aria-describedby": id + "u " + id + "p" });
  const slider = make("input", { type: "range", min: 0, max: steps, step: 1, "aria-label": what.label + (what.unit ? ", " + what.unit : "") });
  const unit = make("span", { className: "unit", id: id + "u" }, brief(what.unit));
  const wrong = make("p", { className: "wrong", id: id + "p", role: "alert" });
  const note = make("p", { className: "note", hidden: true });
  const row = make("div", { className: "dial" }, label, slider, box, unit, note, wrong);
  const write = what.write || tidy, read = what.read || (text => plainNumber(text, what.unit));
  row.dataset.keys = what.keys.join(" ");
  let g = "", x = 0, limit = { a: 0, b: 1 };
  const ratio = () => limit.ratio && limit.a > 0;
  const toShare = v => ratio() ? Math.log(v / limit.a) / Math.log(limit.b / limit.a) : (v - limit.a) / (limit.b - limit.a);
  const fromShare = s => ratio() ? limit.a * Math.pow(limit.b / limit.a, s) : limit.a + s * (limit.b - limit.a);
  const round = v => {
    if (what.whole) return Math.round(v);
    const grain = Math.pow(10, Math.floor(Math.log10((ratio() ? Math.abs(v) || 1 : limit.b - limit.a) / 500)));
    return Number((Math.round(v / grain) * grain).toPrecision(10));
  };
  function put(v, hand, said = write(v)) {
    const why = what.wanted && !isFinite(v) ? what.wanted : fault(f, v);
    if (why) {
      problem(what.keys[0], what.label + ": \u201c" + said + "\u201d is not taken; " + why);
      return;
    }
    if (what.wrap) v = what.wrap(v);
    x = v;
    what.put(v, hand);
  }
  const inside = v => hold(f, v);
  slider.addEventListener("pointerdown", () => {
    g = gesture();
    busy();
  });
  slider.addEventListener("input", () => put(inside(round(fromShare(slider.value / steps))), g || (g = gesture())));
  slider.addEventListener("change", () => { g = ""; });
  slider.addEventListener("keydown", e => keyed(e));
  slider.addEventListener("dblclick", reset);
  label.addEventListener("dblclick", reset);
  // A step by the keyboard: a hundredth of the span; with Shift ten times as much, with Alt a tenth.
  function keyed(e) {
    const way = { ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1, PageUp: 10, PageDown: -10 }[e.key];
    if (!way || e.target === box && (e.key === "ArrowLeft" || e.key === "ArrowRight")) return;
    e.preventDefault();
    const by = way * (e.shiftKey ? 10 : e.altKey ? 0.1 : 1) / 100;
    const next = what.whole ? x + Math.sign(way) * Math.max(1, Math.round(Math.abs(by) * (limit.b - limit.a))) : fromShare(toShare(x) + by);
    put(inside(e.altKey ? next : round(next)), typed());
  }
  let held = "", heldTimer = 0;
  // typed joins steps by the keyboard that follow each other within a second into one gesture.
  function typed() {
    clearTimeout(heldTimer);
    heldTimer = setTimeout(() => {
      held = "";
      dragging(false);
    }, 1000);
    if (!held) {
      held = gesture();
      dragging(true);
    }
    return held;
  }
  box.addEventListener("keydown", e => {
    if (e.key === "Escape") {
      if (typing) e.stopPropagation();
      typing = false;
      problem(what.keys[0], "");
      show(true);
    } else if (e.key === "Enter") {
      taken();
    } else {
      keyed(e);
    }
  });
  let typing = false; // what stands in the box is not taken yet
  box.addEventListener("input", () => {
    typing = true;
    if (what.keys.some(problemOf)) what.keys.forEach(k => problem(k, ""));
  });
  // taken takes what was typed. What may not stand stays in the box to be mended, until that is left.
  function taken() {
    const text = box.value.trim(), v = read(text);
    typing = false;
    if (text === write(x) && row.dataset.unset !== "true") return;
    if (!isFinite(v) || fault(f, v)) typing = true;
    put(v, gesture(), text);
    show(false);
  }
  box.addEventListener("change", taken);
  box.addEventListener("blur", () => {
    typing = false;
    show(true);
  });
  scrub(label, () => ({ at: x, g: gesture() }), (from, share) => put(inside(what.whole ? Math.round(from.at + share * (limit.b - limit.a)) : roundFine(fromShare(toShare(from.at) + share), share)), from.g));
  const roundFine = v => Number(v.toPrecision(5));
  function reset() {
    for (const k of what.keys) act("/reset", { key: k });
  }
  function show(force) {
    const none = !!what.field && unset(what.keys[0]);
    const v = none ? undefined : what.of();
    const known = typeof v === "number";
    row.classList.toggle("absent", !known && !none);
    row.dataset.unset = none;
    note.hidden = !none;
    note.textContent = none ? notSet(what.keys[0], what.unit) : "";
    box.placeholder = none ? "not set" : "";
    slider.disabled = !known && !none;
    box.disabled = !known && !what.field;
    x = known ? v : none && typeof f.default === "number" ? f.default : 0;
    limit = what.b === undefined ? span(f, v) : { a: Math.min(what.a, x), b: Math.max(what.b, x), ratio: what.ratio };
    slider.value = Math.round(steps * toShare(x));
    slider.setAttribute("aria-valuetext", none ? note.textContent : write(x) + (what.unit ? " " + what.unit : ""));
    const bad = what.keys.map(problemOf).find(p => p) || "";
    const now = known ? write(x) : "";
    if ((force || !typing) && box.value !== now) {
      const whole = document.activeElement === box && box.selectionStart === 0 && box.selectionEnd === box.value.length;
      box.value = now;
      if (whole) box.select(); // what is typed next takes its place, as before
    }
    wrong.textContent = bad;
    box.setAttribute("aria-invalid", bad !== "" && typing);
    row.classList.toggle("mine", what.keys.some(k => state.edited.includes(k)));
  }
  listen(() => show(false), row);
  show(false);
  return row;
}

// plainNumber reads a number, with its unit behind it or without.
function plainNumber(text, unit) {
  let t = text.trim();
  for (const u of [unit, brief(unit)]) if (u && t.endsWith(u)) t = t.slice(0, -u.length).trim();
  return Number(t.replace(",", ".") || NaN);
}

// notSet says what holds where a scene says nothing of a key.
function notSet(key, unit) {
  if (there(key.split(".").slice(0, 2).join(".") + ".asset")) return "not set (as its own file has it)";
  const d = field(key).default;
  return "not set" + (d === null || d === undefined || d === "" ? "" : " (default " + [].concat(d).map(x => typeof x === "number" ? tidy(x) : x).join(" ") + (unit ? " " + unit : "") + ")");
}

// busy says that a gesture goes on until the pointer is let go, wherever that is.
function busy() {
  dragging(true);
  const end = () => {
    dragging(false);
    removeEventListener("pointerup", end, true);
    removeEventListener("pointercancel", end, true);
  };
  addEventListener("pointerup", end, true);
  addEventListener("pointercancel", end, true);
}

// scrub lets a label be dragged sideways: 200 px are the span of its slider; with Alt 2000 are.
function scrub(label, start, move) {
  label.addEventListener("pointerdown", e => {
    if (e.button) return;
    const from = start();
    let last = e.clientX, share = 0, far = 0, going = false;
    const go = m => {
      far += Math.abs(m.clientX - last);
      share += (m.clientX - last) / (m.altKey ? 2000 : 200);
      last = m.clientX;
      if (far <= 2) return;
      if (!going) busy();
      going = true;
      move(from, share);
    };
    const end = () => {
      label.removeEventListener("pointermove", go);
      label.removeEventListener("pointerup", end);
      label.removeEventListener("pointercancel", end);
    };
    label.setPointerCapture(e.pointerId);
    label.addEventListener("pointermove", go);
    label.addEventListener("pointerup", end);
    label.addEventListener("pointercancel", end);
    e.preventDefault();
  });
}

// fieldOf is field with the narrower limits of eyes that are built here, where it is one.
function fieldOf(key) {
  const f = field(key);
  const built = f && f.built && !there(key.split(".").slice(0, 2).join(".") + ".asset");
  return built ? { ...f, limits: f.built } : f;
}

// number is the dial of one key.
export function number(key, label, more = {}) {
  const f = fieldOf(key);
  if (!f || !acts(key)) return null;
  return dial({
    label, keys: [key], field: f, unit: f.unit, whole: f.kind === "whole", title: about(f), of: () => value(key),
    put: (v, g) => set([{ key, value: v }], g), ...more,
  });
}

// about says what a key means, its range and where its default comes from.
export function about(f) {
  return [f.doc, range(f) && "Range " + range(f) + ".", f.source && "Default: " + f.source + "."].filter(t => t).join("\n");
}

// toggle is a switch. of(), where given, says whether it is on.
export function toggle(key, label, of = () => value(key)) {
  const f = field(key);
  if (!f) return null;
  const box = make("input", { type: "checkbox", id: fresh() });
  const row = make("div", { className: "switch" }, box, make("label", { htmlFor: box.id, title: about(f) }, label));
  box.addEventListener("change", () => set([{ key, value: box.checked }]));
  const show = () => { box.checked = !!of(); };
  listen(show, row);
  show();
  return row;
}

// choice is one of some words.
export function choice(key, label) {
  const f = field(key);
  if (!f) return null;
  const id = fresh();
  const pick = make("select", { id }, ...["", ...f.words].filter(w => w || f.default === null || f.default === undefined).map(w => make("option", { value: w }, w)));
  const wrong = make("p", { className: "wrong", role: "alert" });
  pick.addEventListener("change", () => set([{ key, value: pick.value }]));
  const show = () => {
    pick.value = value(key) ?? "";
    wrong.textContent = problemOf(key);
  };
  const row = make("div", { className: "dial" }, make("label", { htmlFor: id, title: about(f) }, label), pick, wrong);
  listen(show, row);
  show();
  return row;
}

// numbers is a colour or a vector: a box for each number.
export function numbers(key, label, parts) {
  const f = field(key);
  if (!f) return null;
  const wrong = make("p", { className: "wrong", role: "alert" });
  const now = () => {
    const v = unset(key) ? undefined : value(key);
    return Array.isArray(v) ? v : parts.map(() => typeof v === "number" ? v : undefined);
  };
  const boxes = parts.map((p, i) => {
    const box = make("input", { type: "text", inputMode: "decimal", autocomplete: "off", "aria-label": label + ", " + p });
    box.addEventListener("change", () => {
      const v = now().slice();
      v[i] = plainNumber(box.value, f.unit);
      for (let k = 0; k < v.length; k++) if (v[k] === undefined) v[k] = v[i];
      const why = fault(f.kind === "colour" ? f : { ...f, kind: "number" }, v[i]);
      if (why) problem(key, label + ", " + p + ": \u201c" + box.value + "\u201d is not taken; " + why);
      else {
        typing = null;
        set([{ key, value: v }]);
      }
    });
    box.addEventListener("blur", () => {
      typing = null;
      show();
    });
    box.addEventListener("input", () => { typing = box; });
    return box;
  });
  let typing = null; // the box in which something stands that is not taken yet
  const note = make("p", { className: "note", hidden: true });
  const show = () => {
    const v = now(), none = unset(key);
    boxes.forEach((b, i) => {
      if (typing !== b) b.value = tidy(v[i]);
      b.placeholder = none ? "–" : "";
    });
    note.hidden = !none;
    note.textContent = none ? notSet(key, f.unit) : "";
    wrong.textContent = problemOf(key);
  };
  const row = make("div", { className: "dial", role: "group", "aria-label": label }, make("span", { className: "name", title: about(f) }, label),
    make("span", { className: "parts" }, ...boxes), make("span", { className: "unit" }, brief(f.unit)), note, wrong);
  listen(show, row);
  show();
  return row;
}

// words is a text.
export function words(key, label) {
  const f = field(key);
  if (!f) return null;
  const id = fresh();
  const box = make("input", { id, type: "text", autocomplete: "off" });
  const wrong = make("p", { className: "wrong", role: "alert" });
  box.addEventListener("change", () => set([{ key, value: box.value }]));
  const show = () => {
    if (document.activeElement !== box) box.value = value(key) ?? "";
    wrong.textContent = problemOf(key);
  };
  const row = make("div", { className: "dial" }, make("label", { htmlFor: id, title: about(f) }, label), box, wrong);
  listen(show, row);
  show();
  return row;
}

// any is the field of a key of whatever kind.
export function any(key, label) {
  const f = field(key);
  switch (f.kind) {
    case "number": case "whole": return number(key, label);
    case "switch": return toggle(key, label);
    case "choice": return choice(key, label);
    case "colour": return numbers(key, label, ["red", "green", "blue"]);
    case "map": return numbers(key, label, ["red", "green", "blue"]);
    case "vector": return numbers(key, label, ["x", "y", "z"]);
    case "pair": return numbers(key, label, ["first", "second"]);
    default: return words(key, label);
  }
}
