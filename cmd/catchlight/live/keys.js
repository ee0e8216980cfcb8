// The keys of a scene: what the schema says of each, and which of them this scene has.

let fields = new Map(); // by pattern, such as lights.NAME.ev

// learn takes the schema: a block of keys.
export function learn(schema) {
  fields = new Map();
  walk(schema, "");
}

function walk(block, above) {
  for (const f of block.keys || []) {
    f.path = above + f.key;
    f.selector_ = block.selector ? above + block.selector : "";
    fields.set(f.path, f);
    walk(f, f.path + (f.kind === "list" ? ".NAME." : "."));
  }
}

// pattern returns a key with NAME in place of the names of entries.
function pattern(key) {
  const out = [];
  for (const part of key.split(".")) {
    const here = fields.get(out.join("."));
    out.push(here && here.kind === "list" ? "NAME" : part);
  }
  return out.join(".");
}

// field returns what the schema says of a key of this scene, or undefined.
export function field(key) {
  return fields.get(pattern(key));
}

// chain returns what the schema says of a key and of the blocks about it, outermost first.
export function chain(key) {
  const parts = key.split(".");
  return parts.map((_, i) => field(parts.slice(0, i + 1).join("."))).filter(f => f);
}

// selector returns the key whose word says whether this one may be given, or "".
export function selector(key) {
  const f = field(key);
  if (!f || !f.only || !f.selector_) return "";
  const depth = f.selector_.split(".").length;
  return [...key.split(".").slice(0, depth - 1), f.selector_.split(".").pop()].join(".");
}

// all returns every key that this scene can have, with what the schema says: names(list) gives the names of a list's entries.
export function all(names) {
  const out = [];
  for (const [pattern, f] of fields) {
    if (f.kind === "block" || f.kind === "list") continue;
    for (const key of expand(pattern.split(".NAME"), names)) out.push({ key, field: f });
  }
  return out;
}

// expand returns the keys of a pattern cut at its NAMEs.
function expand(parts, names) {
  let keys = [parts[0]];
  for (const part of parts.slice(1)) keys = keys.flatMap(k => names(k).map(n => k + "." + n + part));
  return keys;
}

// slots returns the keys that take a file.
export function slots(names) {
  return all(names).filter(k => k.field.kind === "file" || k.field.kind === "map");
}

// span returns the ends of a number's slider, and whether equal steps multiply. A value outside widens it.
export function span(f, value) {
  let { low: a, high: b, log } = f.drag || { low: 0, high: 1, log: false };
  if (typeof value === "number") [a, b] = [Math.min(a, value), Math.max(b, value)];
  return { a, b, ratio: !!log && a > 0 };
}

// range returns a number's limits as text.
export function range(f) {
  const l = f.limits;
  if (!l) return "";
  const low = l.low === null ? "" : (l.low_open ? "more than " : "") + l.low, high = l.high === null ? "" : (l.high_open ? "less than " : "") + l.high;
  if (!low && !high) return "";
  return (low && high ? low + " to " + high : low ? low + " and up" : "up to " + high) + (f.unit ? " " + f.unit : "");
}

// fault says why a number may not stand, or "".
export function fault(f, x) {
  if (!isFinite(x)) return "a number is wanted" + (range(f) ? ", " + range(f) : "");
  const l = f.limits;
  if (l) {
    const below = l.low !== null && (l.low_open ? x <= l.low : x < l.low), above = l.high !== null && (l.high_open ? x >= l.high : x > l.high);
    if (below || above) return "allowed is " + range(f);
  }
  if (f.kind === "whole" && x !== Math.round(x)) return "a whole number is wanted";
  return "";
}

// hold brings a number within its limits.
export function hold(f, x) {
  const l = f.limits || { low: null, high: null };
  return Math.min(l.high ?? Infinity, Math.max(l.low ?? -Infinity, x));
}
