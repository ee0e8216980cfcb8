// What is said to the server. Requests that change something go one at a time; of those that wait, a newer one of the same
// kind takes the place of the older, so that a fast hand never makes a queue.

// tab is this page's name: the server keeps one view a tab.
export const tab = crypto.getRandomValues(new Uint32Array(2)).join("-");

// Refused is an answer that says what was wrong: the message, the key and its allowed range.
export class Refused extends Error {
  constructor(answer, status) {
    super(answer.problem || "the server answered " + status);
    this.status = status;
    this.ask = !!answer.ask; // it is done all the same where one says so
    this.key = answer.key || "";
    this.range = answer.range || "";
  }
}

async function answer(response) {
  const isJSON = (response.headers.get("Content-Type") || "").includes("json");
  const got = isJSON ? await response.json() : { problem: await response.text() };
  if (!response.ok) throw new Refused(got, response.status);
  return isJSON ? got : {};
}

export async function get(path) {
  return answer(await fetch(path));
}

export async function post(path, what) {
  return answer(await fetch(path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ tab, ...what }) }));
}

let busy = false;
const waiting = new Map(); // by kind, in order of arrival

// send posts what as soon as nothing else is on its way. One of the same kind that still waits gives way, after merge(old, new)
// where there is one. The promise of a request that gave way resolves with that of its successor.
export function send(kind, path, what, merge) {
  const before = waiting.get(kind);
  if (before) {
    before.what = merge ? merge(before.what, what) : what;
    return before.done;
  }
  const entry = { path, what };
  entry.done = new Promise((yes, no) => Object.assign(entry, { yes, no }));
  waiting.set(kind, entry);
  next();
  return entry.done;
}

let seen = 0; // newest run that was shown
const hoping = []; // what waits for a run to be shown

// showed says that a picture of a run stands on the page.
export function showed(run) {
  seen = Math.max(seen, run);
  for (let i = hoping.length; i--;) if (seen >= hoping[i].run) hoping.splice(i, 1)[0].go();
}

// picture waits for the picture of a run, but not for long.
function picture(run) {
  if (!run || seen >= run) return Promise.resolve();
  return Promise.race([new Promise(go => hoping.push({ run, go })), new Promise(go => setTimeout(go, 600))]);
}

// paced are requests that each want to be seen before the next goes out: a hand that moves faster than pictures come would else
// never see one.
const paced = /^\/(set|turn|aim)$/;
let last = 0; // run of the last of them

async function next() {
  if (busy || !waiting.size) return;
  busy = true;
  if (paced.test(waiting.values().next().value.path)) await picture(last);
  const [kind, entry] = waiting.entries().next().value;
  waiting.delete(kind);
  try {
    const answered = await post(entry.path, entry.what);
    if (paced.test(entry.path)) last = answered.run || 0;
    entry.yes(answered);
  } catch (e) {
    entry.no(e);
  }
  busy = false;
  next();
}

let count = 0;
// after posts what once all that was sent before has been answered.
export function after(path, what) {
  return send("after " + ++count, path, what);
}

// idle says whether all that was sent has been answered.
export function idle() {
  return !busy && !waiting.size;
}
