// The scene as the server holds it, and the one way to change it.
import { get, send, after, Refused } from "./talk.js";
import { field, chain } from "./keys.js";
import { say } from "./say.js";

export let state = { values: {}, set: [], edited: [], lights: [], objects: [], paint: [], snapshots: [], film: { width: 1, height: 1 } };
const heard = new Set(); // called whenever the state is new
const faults = new Map(); // by key: what was wrong with its last value

// listen calls f whenever something is new; with an element, only until that has left the page.
export function listen(f, element) {
  heard.add({ f, element, was: false });
}

export function tell() {
  for (const h of heard) {
    if (h.element && h.was && !h.element.isConnected) {
      heard.delete(h);
      continue;
    }
    h.was = h.was || !!h.element && h.element.isConnected;
    h.f();
  }
}

let asked = null, queued = null; // questions for the state: the one under way, and the one after it

// refresh asks for the state. While an answer is awaited one more question is kept, not many; what it promises is an answer to a
// question that was asked no earlier.
export function refresh() {
  if (asked) {
    queued ||= asked.catch(() => {}).then(() => {
      queued = null;
      return refresh();
    });
    return queued;
  }
  asked = fetchState().finally(() => { asked = null; });
  return asked;
}

let soon = 0;
// refreshSoon asks for the state in a moment, once for all that is said meanwhile.
export function refreshSoon() {
  soon ||= setTimeout(() => {
    soon = 0;
    refresh().catch(complain);
  }, 200);
}

async function fetchState() {
  landed.clear();
  const now = await get("/state");
  for (const [k, v] of landed) now.values[k] = v; // taken after the server wrote its answer, it may be
  for (const [k, f] of flying) now.values[k] = f.value; // on their way: the server had not heard of them yet
  state = now;
  tell();
}

// value returns a key's value: the scene's, or what holds where it says nothing.
export function value(key) {
  if (key in state.values) return state.values[key];
  const m = /^(objects\.[^.]+\.paint)\.([^.]+)\.(.+)$/.exec(key);
  if (m) {
    const e = entries(m[1]).find(e => e.name === m[2]);
    if (e && e[m[3]] !== undefined) return e[m[3]];
  }
  const f = field(key);
  return f ? f.default : undefined;
}

// unset says that the scene leaves a key alone and that nothing, or a bare zero that stands for nothing, is its value.
export function unset(key) {
  const mine = k => k === key || k.startsWith(key + ".");
  if (state.set.some(mine) || state.edited.some(mine) || flying.has(key)) return false;
  const f = field(key), v = key in state.values ? state.values[key] : f && f.default;
  if (v === null || v === undefined) return true;
  const zero = x => [].concat(x).every(y => y === 0 || y === "");
  return zero(v) && !(f && f.default !== null && f.default !== undefined && zero(f.default));
}

// entries returns what a list holds, in order, each with name and on.
export function entries(list) {
  const made = e => typeof e === "string" ? { name: e } : e;
  const of = list === "lights" ? state.lights : list === "objects" ? state.objects : list.endsWith(".paint") ? paintOf(list) : lesser(list);
  return (of || []).map(made).map(e => ({ on: value2(list + "." + e.name + ".on"), ...e }));
}

function value2(key) {
  return key in state.values ? state.values[key] : true;
}

function paintOf(list) {
  const object = list.split(".")[1];
  return (state.paint || []).filter(e => !e.object || e.object === object);
}

// lesser finds the names of a list in the keys that have values.
function lesser(list) {
  const names = new Set();
  for (const k of Object.keys(state.values)) if (k.startsWith(list + ".")) names.add(k.slice(list.length + 1).split(".")[0]);
  return [...names];
}

export const names = list => entries(list).map(e => e.name);

// eye returns the name of the first eye, or "" where there is none.
export function eye() {
  return names("objects").find(n => value("objects." + n + ".shape") === "eye") || "";
}

// acts says whether a key has an effect on its eye: some do on eyes that are built here alone.
export function acts(key) {
  const object = key.split(".").slice(0, 2).join(".");
  if (!key.startsWith("objects.") || !there(object + ".asset")) return true;
  const borrows = value(object + ".asset.borrow") === true;
  return chain(key).every(f => !f.acts || borrows && f.acts.includes("borrowed"));
}

let gestures = 0;
export const gesture = () => "g" + ++gestures;

// problem keeps what was wrong with a key's value, beside which its field shows it.
export function problem(key, text) {
  if (text) faults.set(key, text); else faults.delete(key);
  if (text) say(text);
  tell();
}
export const problemOf = key => faults.get(key) || "";

const trouble = new Set();
// troubles calls f with every message that belongs to no field, and whose it is: the state's, the engine's, or of what was just done.
export const troubles = f => trouble.add(f);
export function complain(e, whose = "done") {
  const text = e.message + (e.range ? "; allowed: " + e.range : "");
  say(text);
  for (const f of trouble) f(text, whose);
}

// well says that what was wrong is so no longer: messages of that kind go.
export function well(whose = "done") {
  for (const f of trouble) f("", whose);
}

const before = new Set();
// foresee calls f with the keys that are about to change, once a gesture.
export const foresee = f => before.add(f);
let lastGesture = "";
function announce(g, keys) {
  if (g === lastGesture) return;
  lastGesture = g;
  for (const f of before) f(keys);
}

// took refuses into the fields what the server refused.
function took(e, keys) {
  const key = e instanceof Refused && keys.find(k => k === e.key || e.key && k.startsWith(e.key)) || (keys.length === 1 ? keys[0] : "");
  if (key) problem(key, e.message + (e.range ? "; allowed: " + e.range : ""));
  else complain(e);
  refresh().catch(complain);
}

const flying = new Map(); // values by key that are not answered yet
const landed = new Map(); // those that were taken since the last question for the state

// fly counts a key's value as on its way; land as arrived.
function fly(c) {
  const f = flying.get(c.key) || { count: 0 };
  flying.set(c.key, { value: c.value, count: f.count + 1 });
}
function land(c) {
  const f = flying.get(c.key);
  if (--f.count === 0) flying.delete(c.key);
}

// set changes keys, at once here and then on the server; calls of one gesture are one step of undo.
export function set(changes, g = gesture()) {
  announce(g, changes.map(c => c.key));
  for (const c of changes) {
    state.values[c.key] = c.value;
    faults.delete(c.key);
    fly(c);
  }
  tell();
  const merge = (old, now) => ({ ...now, changes: [...old.changes.filter(o => !now.changes.some(n => n.key === o.key)), ...now.changes] });
  return send("set " + g, "/set", { gesture: g, changes }, merge).finally(() => changes.forEach(land)).then(answer => {
    for (const c of changes) landed.set(c.key, c.value);
    return settle(answer);
  }, e => took(e, changes.map(c => c.key)));
}

// there says whether the scene has a block: whether any of its keys has a value.
export function there(block) {
  return Object.keys(state.values).some(k => (k === block || k.startsWith(block + ".")) && state.values[k] !== null);
}

// settle asks for what a change brought with it.
function settle(answer) {
  well();
  if (answer && answer.run) document.getElementById("frame").dataset.asked = answer.run;
  refreshSoon();
}

// turn drags a handle from one point of the film to another; what waits is joined, so that no way is lost.
export function turn(handle, from, to, fine, g) {
  announce(g, [handle]);
  return send("turn " + g, "/turn", { gesture: g, handle, from, to, fine }, (old, now) => ({ ...now, from: old.from })).then(settle, complain);
}

// aim moves a light so that its catchlight sits where it shall.
export function aim(what, g = gesture()) {
  announce(g, ["lights." + what.light]);
  return send("aim " + g, "/aim", { gesture: g, ...what }, (old, now) => ({ ...old, ...now })).then(settle, complain);
}

// act does what is no value: undo, a list's change, and so on; the state is asked for after it.
export async function act(path, what = {}, silent = false) {
  announce(gesture(), [path]);
  try {
    const answer = await after(path, what);
    well();
    return answer;
  } catch (e) {
    if (silent) throw e;
    complain(e);
  } finally {
    refresh().catch(complain);
  }
}
