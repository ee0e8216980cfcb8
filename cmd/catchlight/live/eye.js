// The controls of the eye, from the pupil outward, as a walk along its surface: pupil, iris, limbus, white, what is beneath, what is
// on top, and the lids.
import { make, at, draw } from "./make.js";
import { field } from "./keys.js";
import { value, set, eye, listen, there, acts, unset } from "./desk.js";
import { dial, number, toggle, about } from "./field.js";
import { show, showScatter } from "./handles.js";

const zones = ["collarette", "ciliary", "margin"];
let zone = "ciliary";

// channels returns a colour's three numbers.
export const channels = v => Array.isArray(v) ? v : [v ?? 1, v ?? 1, v ?? 1];

// warmth is how many stops more red than blue a colour has.
export const warmth = v => {
  const [r, , b] = channels(v);
  return Math.log2(Math.max(r, 1e-6) / Math.max(b, 1e-6));
};

// warmed gives a colour another warmth; its green, and the product of red and blue, stay.
export const warmed = (v, stops) => {
  const [r, g, b] = channels(v);
  const mean = Math.sqrt(Math.max(r, 1e-6) * Math.max(b, 1e-6));
  return [mean * Math.pow(2, stops / 2), g, mean * Math.pow(2, -stops / 2)].map(x => Number(x.toPrecision(4)));
};

// warm is the dial of a colour's warmth.
export function warm(key, label, more = {}) {
  const f = field(key);
  if (!f || !acts(key)) return null;
  return dial({
    label, unit: "EV", keys: [key], low: -4, high: 4, a: -1, b: 1,
    title: f.doc + "\nHow many stops more red than blue it has.", of: () => value(key) === undefined ? undefined : Number(warmth(value(key)).toFixed(2)),
    put: (x, g) => set([{ key, value: warmed(value(key), x) }], g), ...more,
  });
}

// signs stand before the parts: what each is, drawn in a square of 20.
const signs = {
  pupil: () => [draw("circle", { r: 4.5, class: "full" }), draw("circle", { r: 8 })],
  iris: () => [draw("circle", { r: 3 }), draw("circle", { r: 8 }), ...[0, 45, 90, 135, 180, 225, 270, 315].map(a => draw("path", { d: "M0 -4.2V-6.8", transform: `rotate(${a})` }))],
  limbus: () => [draw("circle", { r: 6.5, class: "thick" })],
  white: () => [draw("circle", { r: 8.5 }), draw("path", { d: "M-8 -2Q-4 -3 -3 0T2 2M-4 -1L-2 -5" })],
  depth: () => [draw("path", { d: "M-9 -4H9M0 -9V-4L3 0L-2 3L4 6L0 8" })],
  film: () => [draw("path", { d: "M-9 5Q0 -11 9 5M-9 9Q0 -6 9 9" })],
  lids: () => [draw("path", { d: "M-9 1Q0 -9 9 1Q0 8 -9 1Z" }), draw("path", { d: "M-8 -4Q0 -12 8 -4" })],
};

// group is a part of the eye with its controls; being there points to it in the picture.
function group(name, title, part, ...all) {
  const rows = all.filter(r => r);
  const s = make("section", { className: "part", "aria-labelledby": "h-" + name }, make("h2", { id: "h-" + name }, title), ...rows);
  s.prepend(draw("svg", { viewBox: "-10 -10 20 20", class: "sign", "aria-hidden": "true" }, ...signs[name]()));
  s.dataset.part = name;
  if (part) {
    s.addEventListener("pointerenter", () => show(part));
    s.addEventListener("pointerleave", () => show(""));
    s.addEventListener("focusin", () => show(part));
    s.addEventListener("focusout", () => show(""));
  }
  return s;
}

// radius is the scatter radius: one length for all channels, which keep their ratios; the picture shows it at scale while it is at hand.
function radius(key, label) {
  const mean = () => {
    const c = channels(value(key));
    return Math.cbrt(c[0] * c[1] * c[2]);
  };
  const f = field(key);
  if (!f) return null;
  const row = dial({
    label, unit: "mm", keys: [key], low: 0.001, high: 100, a: 0.02, b: 2, ratio: true, title: about(f), of: () => value(key) === undefined ? undefined : Number(mean().toPrecision(3)),
    put: (x, g) => {
      const k = x / mean();
      showScatter(x);
      set([{ key, value: channels(value(key)).map(c => Number((c * k).toPrecision(4))) }], g);
    },
  });
  const on = () => showScatter(mean()), off = () => { if (!row.contains(document.activeElement)) showScatter(0); };
  row.addEventListener("pointerenter", on);
  row.addEventListener("focusin", on);
  row.addEventListener("pointerleave", off);
  row.addEventListener("focusout", () => showScatter(0));
  return row;
}

// whence says where the colour of an iris that is not built here comes from.
function whence(o) {
  if (!unset(o + "iris.colour") || value(o + "iris.colour.file")) return "Its colour is the scene's: find \u201ciris colour\u201d.";
  if (value(o + "asset.borrow") === true) return "Its colour is the file's own where that has a picture of it, and borrowed from the built-in eye where it has none.";
  return "Its colour comes from the eye's own file.";
}

// quiet is the dial that quietens the veins: of a built eye all that is red, of one that borrows the borrowed veins.
function quiet(o) {
  const key = o + "sclera.veins", f = field(key);
  if (acts(o + "sclera.tone_down") || !f || !acts(key)) return number(o + "sclera.tone_down", "Quiet veins");
  return dial({
    label: "Quiet veins", keys: [key], low: -2, high: 1, a: 0, b: 1, title: "0 is the built-in eye's veins as they are, 1 none, -1 twice as strong.",
    of: () => Number((1 - value(key)).toFixed(3)), put: (x, g) => set([{ key, value: Number((1 - x).toFixed(3)) }], g),
  });
}

// ring is the iris' zones: one is chosen, and its three numbers are shown.
function ring(o) {
  if (!acts(o + "iris." + zone + ".hue")) return [make("p", { className: "quiet" }, whence(o))];
  const box = make("div", {});
  const fill = () => box.replaceChildren(number(o + "iris." + zone + ".hue", "Hue"), number(o + "iris." + zone + ".brightness", "Brightness"),
    number(o + "iris." + zone + ".contrast", "Contrast"));
  const pick = make("div", { className: "words", role: "radiogroup", "aria-label": "zone of the iris" }, ...zones.map(z => {
    const r = make("input", { type: "radio", name: "zone", id: "zone-" + z, value: z, checked: z === zone });
    r.addEventListener("change", () => {
      zone = z;
      fill();
    });
    return make("span", {}, r, make("label", { htmlFor: r.id }, z));
  }));
  fill();
  return [pick, box];
}

let built = null;
// lay builds the column for the first eye; it is built anew when that becomes another.
function lay() {
  const name = eye();
  const now = name + " " + there("objects." + name + ".asset") + " " + value("objects." + name + ".asset.borrow") + " " + unset("objects." + name + ".iris.colour");
  if (now === built) return;
  built = now;
  const box = at("eye");
  if (!name) {
    box.replaceChildren(make("p", { className: "quiet" }, "This scene has no eye. Its objects are in the lists at the right."));
    return;
  }
  const o = "objects." + name + ".";
  box.replaceChildren(
    group("pupil", "Pupil", "pupil", number(o + "iris.pupil", "Diameter")),
    group("iris", "Iris", "iris", ...ring(o)),
    group("limbus", "Limbus", "limbus", number(o + "limbus.width", "Width"), number(o + "paint.limbal-grey.amount", "Darkness"), warm(o + "paint.limbal-grey.colour", "Warmth")),
    group("white", "White", "", warm(o + "sclera.tint", "Warmth"), quiet(o)),
    group("depth", "Beneath", "", radius(o + "sclera.scatter_radius", "Scatter radius")),
    group("film", "Film", "", number(o + "cornea.wobble", "Wobble"), number(o + "cornea.roughness", "Roughness")),
    group("lids", "Lids", "", toggle(o + "lids.on", "Lids are there", () => there(o + "lids") && value(o + "lids.on")), number(o + "lids.height", "Open"), number(o + "lids.cover", "Cover")),
  );
}

export function begin() {
  listen(lay);
  lay();
}
