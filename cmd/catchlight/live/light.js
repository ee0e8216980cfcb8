// The light: exposure, the dome, the lights, and of the one at hand how bright and large it is and where its catchlight sits.
import { make, at } from "./make.js";
import { field } from "./keys.js";
import { value, set, aim, names, listen, tell } from "./desk.js";
import { dial, number, about } from "./field.js";
import { warm } from "./eye.js";
import { list } from "./lists.js";
import { dome } from "./dome.js";
import { onMarks } from "./stage.js";

let chosen = "", marks = null;

// key returns the light that is most likely meant: the first with a place that is on.
function key() {
  const placed = names("lights").filter(n => ["rectangle", "disc", "sphere", "distant"].includes(value("lights." + n + ".kind")));
  return placed.find(n => value("lights." + n + ".on") !== false) || placed[0] || names("lights")[0] || "";
}

const catchlight = () => marks && (marks.catchlights || []).find(c => c.light === chosen);

// spread gives the keys of a light's size, in mm, or degrees of a distant one.
function spread(n) {
  const has = k => value("lights." + n + "." + k) !== undefined;
  switch (value("lights." + n + ".kind")) {
    case "rectangle": return ["width", "height"].filter(has);
    case "disc": case "sphere": return ["radius"];
    case "distant": return ["angle"];
  }
  return [];
}

// size is the dial of a light's size: all its lengths by one factor.
function size(n) {
  const keys = spread(n).map(k => "lights." + n + "." + k);
  if (!keys.length) return null;
  const f = field(keys[0]);
  return dial({
    label: "Size", unit: f.unit, keys, low: 1e-3, high: f.unit === "degrees" ? 179 : 1e6, a: f.default / 8, b: f.default * 8, ratio: true, title: about(f),
    of: () => value(keys[0]),
    put: (x, g) => {
      const k = x / value(keys[0]);
      set(keys.map(key => ({ key, value: Number((value(key) * k).toPrecision(5)) })), g);
    },
  });
}

// Clock positions go from 1 to just below 13 here, so that a quarter past twelve is 12.25; the server has it as 0.25.
const turned = x => 1 + ((x - 1) % 12 + 12) % 12;
const told = { clock: turned, mm: x => x, size: x => x };
const meant = { clock: x => x > 12 ? x - 12 : x, mm: x => x, size: x => x };

// hours writes a clock position as people say it: 10:30.
function hours(x) {
  const m = Math.round(60 * turned(x)) % 720 || 720;
  return (m < 60 ? 12 : Math.floor(m / 60)) + ":" + String(m % 60).padStart(2, "0");
}

// readHours reads 10:30, 10.5 or 10,5; a day has 24 hours.
function readHours(text) {
  const m = /^(\d{1,2})(?::([0-5]\d)|[.,](\d+))?(?: *h)?$/.exec(text);
  const x = m ? Number(m[1]) + (m[2] ? m[2] / 60 : m[3] ? Number("0." + m[3]) : 0) : NaN;
  return x <= 24 ? x : NaN;
}

// clock is what a dial of a clock position does otherwise than one of a plain number.
const clock = { write: hours, read: readHours, wrap: turned, wanted: "a place on the clock is wanted, as 10:30 or 10.5" };

// spot is a dial of the catchlight on the cornea, which the light is moved for.
function spot(label, unit, name, low, high, a, b) {
  return dial({
    label, unit, keys: ["lights." + chosen + ".orbit." + name], ...(name === "clock" ? clock : {}), low, high, a, b, title: "The light goes where its mirror image on the cornea then sits.",
    of: () => {
      const c = catchlight();
      return c && typeof c[name] === "number" ? Number(told[name](c[name]).toFixed(name === "clock" ? 4 : 2)) : undefined;
    },
    put: (x, g) => {
      const c = catchlight();
      if (!c) return;
      c[name] = meant[name](x);
      aim({ light: chosen, clock: c.clock, mm: c.mm, ...(name === "size" ? { size: x } : {}) }, g);
    },
  });
}

function ofLight() {
  const box = at("onelight");
  const n = chosen;
  if (!n || !names("lights").includes(n)) {
    box.replaceChildren();
    return;
  }
  const kind = value("lights." + n + ".kind");
  const l = "lights." + n + ".";
  const rows = [make("h3", {}, n, make("span", { className: "quiet" }, n === key() ? ", the key" : "")), number(l + "ev", "Strength"), warm(l + "tint", "Warmth")];
  if (kind === "environment") rows.push(number(l + "rotation", "Turned"));
  else if (kind !== "constant") {
    rows.push(size(n), make("h4", {}, "Its catchlight on the cornea"), spot("O'clock", "", "clock", null, null, 1, 12 + 59 / 60), spot("From centre", "mm", "mm", 0, 6, 0, 5));
    if (kind !== "distant") rows.push(spot("Size there", "mm", "size", 0.01, 8, 0.05, 4));
  }
  box.replaceChildren(...rows.filter(r => r));
}

function choose(n) {
  chosen = n;
  ofLight();
  tell();
}

// round draws the dome.
function round() {
  const lights = marks && marks.lights && marks.lights.length ? marks.lights.filter(l => !l.even) : names("lights").filter(n => value("lights." + n + ".orbit.azimuth") !== undefined && value("lights." + n + ".kind") !== "environment")
    .map(n => ({ name: n, azimuth: value("lights." + n + ".orbit.azimuth"), elevation: value("lights." + n + ".orbit.elevation") || 0 }));
  const azimuth = value("camera.orbit.azimuth");
  dome(lights, azimuth === undefined ? null : { azimuth, elevation: value("camera.orbit.elevation") || 0 }, chosen, choose);
}

export function begin() {
  chosen = key();
  at("light").append(number("view.exposure", "Exposure"), number("light_setup.rotation", "Turn all light"));
  at("lights").append(list("lights", "Lights", choose, () => chosen));
  ofLight();
  let shape = "";
  listen(() => {
    if (!names("lights").includes(chosen)) chosen = key();
    const now = chosen + value("lights." + chosen + ".kind");
    if (now !== shape) ofLight();
    shape = now;
    round();
  });
  onMarks(m => {
    marks = m;
    tell();
  });
  round();
}
