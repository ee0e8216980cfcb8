// What keeps work: undo, sides A and B, saving, snapshots, a map dropped onto the page, and the finished picture.
import { make, at, tidy } from "./make.js";
import { after, get, tab, Refused } from "./talk.js";
import { state, act, listen, complain, well, refresh, names, value } from "./desk.js";
import { slots } from "./keys.js";
import { Look } from "./picture.js";
import * as stage from "./stage.js";
import { fits } from "./find.js";
import { ground } from "./handles.js";
import { say } from "./say.js";

// ask shows a question with answers and returns the one taken, or "".
export function ask(title, text, answers) {
  return new Promise(done => {
    const d = make("dialog", { "aria-labelledby": "asked" }, make("h2", { id: "asked" }, title), ...[].concat(text).map(t => typeof t === "string" ? make("p", {}, t) : t));
    const row = make("div", { className: "answers" }, ...Object.entries(answers).map(([k, t]) => {
      const b = make("button", { type: "button" }, t);
      b.addEventListener("click", () => d.close(k));
      return b;
    }));
    d.append(row);
    d.addEventListener("close", () => {
      d.remove();
      done(d.returnValue || "");
    });
    document.body.append(d);
    d.showModal();
  });
}

async function save(anyway = false) {
  try {
    if (state.stale && !await settleFile()) return;
    await after("/save", anyway ? { anyway } : {});
    well();
    say("saved");
  } catch (e) {
    if (e instanceof Refused && e.status === 409) {
      if (await settleFile()) return save();
    } else if (e instanceof Refused && e.ask) {
      if (await ask("There is no picture of this scene", [e.message, "Saved like this, the file may not be drawn by any command."], { yes: "Save it all the same", "": "Do not save" })) return save(true);
    } else {
      complain(e);
    }
  } finally {
    refresh().catch(complain);
  }
}

// settleFile asks what shall hold where the file was changed elsewhere meanwhile.
async function settleFile() {
  const known = Array.isArray(state.disk), mine = state.edited.length;
  const said = [state.scene + " was written by something else since it was read here. Your changes are still here."];
  if (known) said.push(differences(state.disk));
  const keep = await ask("The file has changed on disk", said, {
    mine: known ? "Put my changes onto the new file and save it" : "Keep my changes over the new file",
    file: mine ? "Take the new file, drop my " + (mine === 1 ? "change" : mine + " changes") : "Take the new file",
    "": "Write nothing now",
  });
  if (!keep) return false;
  await after("/reload", { keep });
  await refresh();
  return keep === "mine";
}

// differences is the table of what a file that changed on disk holds otherwise.
function differences(disk) {
  if (!disk.length) return make("p", {}, "No value differs; comments or their order do.");
  const both = disk.filter(d => d.both).length;
  const row = d => make("tr", {}, make("th", { scope: "row" }, d.key), make("td", {}, text(d.was)), make("td", {}, text(d.file)), make("td", {}, d.both ? text(d.mine) : ""));
  return make("div", { className: "changed" },
    make("table", {}, make("caption", {}, both ? "Changed on both sides: " + both + ". There, putting mine onto it keeps mine." : "Nothing was changed on both sides."),
      make("tr", {}, ...["Key", "Was", "In the file now", "Mine, if other"].map(h => make("th", { scope: "col" }, h))), ...disk.slice(0, 40).map(row)),
    disk.length > 40 ? make("p", { className: "quiet" }, "and " + (disk.length - 40) + " more") : null);
}

const sides = { A: new Look(), B: new Look() };
const exposures = {};
// side changes over between the two states that are kept; the picture of the one that is left stays at hand.
async function side(to) {
  if (to === state.ab) return;
  sides[state.ab].copy(stage.looks.traced);
  exposures[state.ab] = value("view.exposure") || 0;
  const from = state.ab;
  await act("/side", { to });
  if (at("beside").value === "side") stage.reference(sides[from], exposures[from], "side");
}

// snapshots shows all that were kept, with what changed between the two that are ticked.
async function snapshots() {
  const list = make("ul", { className: "shots" });
  const changed = make("div", { className: "changed", role: "status" });
  const ticked = new Set();
  const compare = async () => {
    if (ticked.size !== 2) {
      changed.replaceChildren(make("p", { className: "quiet" }, state.snapshots.length > 1 ? "Tick two to see what changed between them." : ""));
      return;
    }
    const two = state.snapshots.filter(s => ticked.has(String(s.id))), [a, b] = two.map(s => s.id);
    try {
      const d = await get("/difference?a=" + encodeURIComponent(a) + "&b=" + encodeURIComponent(b));
      const rows = (d.changes || []).map(c => make("tr", {}, make("th", { scope: "row" }, c.key), make("td", {}, text(c.a)), make("td", {}, text(c.b))));
      changed.replaceChildren(rows.length ? make("table", {}, make("caption", {}, rows.length + (rows.length === 1 ? " key differs" : " keys differ")),
        make("tr", {}, make("td", {}), ...two.map(s => make("th", { scope: "col" }, s.name))), ...rows) : make("p", {}, "Both are the same scene."));
    } catch (e) {
      complain(e);
    }
  };
  for (const s of state.snapshots) {
    const box = make("input", { type: "checkbox", "aria-label": "compare " + s.name });
    box.addEventListener("change", () => {
      if (box.checked) ticked.add(String(s.id)); else ticked.delete(String(s.id));
      compare();
    });
    const picture = make("img", { src: "/snapshot/" + encodeURIComponent(s.id) + ".png", alt: "picture of " + s.name, loading: "lazy" });
    const beside = make("button", { type: "button" }, "Lay beside");
    beside.addEventListener("click", () => {
      const l = new Look();
      l.show(picture);
      stage.reference(l, s.exposure ?? value("view.exposure") ?? 0, "kept");
      list.closest("dialog").close();
    });
    const back = make("button", { type: "button" }, "Take up again");
    back.addEventListener("click", () => {
      act("/restore", { id: s.id });
      list.closest("dialog").close();
    });
    list.append(make("li", {}, picture, make("strong", {}, s.name), make("p", { className: "quiet" }, [s.note, new Date(s.time).toLocaleString("en-GB", { dateStyle: "medium", timeStyle: "short" })].filter(t => t).join(" · ")),
      make("label", {}, box, " compare"), beside, back));
  }
  compare();
  await ask("Snapshots", state.snapshots.length ? [list, changed, make("p", {}, make("a", { href: "/snapshots", target: "_blank" }, "All of them on a page of their own"))] : ["None yet. A snapshot keeps the scene, its picture and a note."], { "": "Close" });
}

const text = v => v === undefined || v === null ? "–" : typeof v === "number" ? tidy(v) : Array.isArray(v) ? v.map(text).join(" ") : typeof v === "object" ? JSON.stringify(v) : String(v);

async function snapshot() {
  const name = make("input", { type: "text", id: "shotname", autocomplete: "off", value: "look " + (state.snapshots.length + 1) });
  const note = make("input", { type: "text", id: "shotnote", autocomplete: "off" });
  const yes = await ask("Keep a snapshot", [make("p", { className: "pairs" }, make("label", { htmlFor: "shotname" }, "Name"), name, make("label", { htmlFor: "shotnote" }, "Note"), note)],
    { yes: "Keep it", "": "Do not" });
  if (yes) await act("/snapshot", { name: name.value, note: note.value });
}

// where names what a file is held over: iris, white, beside the eye, or "".
function where(e) {
  if (!(e.target instanceof Element)) return "";
  if (at("sheet").contains(e.target)) return ground(...stage.film(e));
  const p = e.target.closest("[data-part]");
  if (p) return { iris: "iris", pupil: "iris", limbus: "iris", white: "white", depth: "white" }[p.dataset.part] || "";
  return e.target.closest("#light, #lights, #onelight, #dome") ? "beside" : "";
}

const grounds = { iris: "for the iris", white: "for the white", beside: "for the light", "": "for this scene" };

// likely says how well a slot suits a file by its name and by where it was let go.
function likely(key, file, place) {
  const of = { iris: /\.iris\./, white: /\.sclera\./, beside: /^lights\./ }[place];
  const named = [[/norm/i, /normal/], [/rough|gloss/i, /roughness/], [/height|bump|disp/i, /height|bump|displacement/]].find(([f]) => f.test(file.name));
  return (of && of.test(key) ? 8 : 0) + ((named ? named[1] : /colour/).test(key) ? 4 : 0) + (/\.(iris|sclera)\./.test(key) ? 1 : 0);
}

// dropAll tries files one after the other.
async function dropAll(files, place) {
  let i = 0;
  for (const f of files) await drop(f, place, files.length > 1 ? ", " + ++i + " of " + files.length : "");
}

// lit shows where a file that is held over the page would be tried; "off" ends that.
function lit(place) {
  if (place === "off") delete at("sheet").dataset.drop;
  else at("sheet").dataset.drop = "Let go to try it " + grounds[place];
}

// drop tries a file in a slot; the server copies it nowhere before the scene is saved.
async function drop(file, place = "", which = "") {
  const takers = slots(names).filter(fits), keys = new Set(takers.map(k => k.key));
  const all = takers.filter(k => !(k.key.endsWith(".file") && keys.has(k.key.slice(0, -5)))).filter(k => k.field.kind === "map" ? /\.(png|jpe?g|tiff?|hdr|exr|pfm)$/i.test(file.name) : (k.field.ends || []).some(e => file.name.toLowerCase().endsWith(e)));
  if (!all.length) {
    complain(new Error(file.name + " fits no key of this scene"));
    return;
  }
  all.sort((a, b) => likely(b.key, file, place) - likely(a.key, file, place));
  const plain = key => key.replace(/\.file$/, "").split(".").slice(1).join(", ").replaceAll("_", " ");
  const pick = make("select", { "aria-label": "the slot" }, ...all.map(k => make("option", { value: k.key, title: k.key }, plain(k.key))));
  const key = make("p", { className: "quiet" }, pick.value);
  pick.addEventListener("change", () => { key.textContent = pick.value; });
  const yes = await ask("Try " + file.name + which, [make("p", {}, "It is copied beside the scene only when you save."), pick, key], { yes: "Try it here", "": "Do not" });
  if (!yes) return;
  try {
    const r = await fetch("/drop?tab=" + tab + "&slot=" + encodeURIComponent(pick.value) + "&name=" + encodeURIComponent(file.name), { method: "POST", body: file });
    if (!r.ok) throw new Refused(await r.json(), r.status);
    well();
  } catch (e) {
    complain(e);
  }
  refresh().catch(complain);
}

// help says what hands and keys do.
async function help() {
  const rows = [
    ["Drag the iris", "where the eye looks"], ["Drag the pupil’s edge", "its size"], ["Drag the limbus", "its width"],
    ["Drag a catchlight", "its light moves so that it sits there"], ["Drag beside the eye", "the camera goes round it"],
    ["Drag with E or Control held", "the surroundings turn"], ["Double click, or Delete on a handle", "back to the file’s"],
    ["Click", "which map, texel and value is there"], ["Arrows on a handle, slider or number", "a step; with Shift ten, with Alt a tenth"],
    ["Drag a number’s name sideways", "changes it; with Alt finely"], ["B, held", "what was there before the last change"], ["M, held", "the chosen map alone"],
    ["+, −, 0, the wheel, two fingers", "closer, further, the whole picture; arrows on those buttons move it"], ["/", "all keys"], ["Control Z, Control Y, Control S", "undo, redo, save"],
  ];
  await ask("Hands and keys", [make("table", {}, ...rows.map(r => make("tr", {}, make("th", { scope: "row" }, r[0]), make("td", {}, r[1]))))], { "": "Close" });
}

export function begin() {
  at("undo").addEventListener("click", () => act("/undo"));
  at("redo").addEventListener("click", () => act("/redo"));
  at("save").addEventListener("click", () => save());
  at("sideA").addEventListener("click", () => side("A"));
  at("sideB").addEventListener("click", () => side("B"));
  at("shoot").addEventListener("click", snapshot);
  at("shots").addEventListener("click", snapshots);
  at("finish").addEventListener("click", () => act("/finish"));
  at("stop").addEventListener("click", () => act("/stop"));
  at("help").addEventListener("click", help);
  at("more").addEventListener("click", () => {
    const open = document.querySelector("header").classList.toggle("opened");
    at("more").setAttribute("aria-expanded", String(open));
  });
  at("file").addEventListener("change", () => {
    dropAll([...at("file").files], "").finally(() => { at("file").value = ""; });
  });
  at("try").addEventListener("click", () => at("file").click());
  addEventListener("dragover", e => {
    e.preventDefault();
    if (e.dataTransfer && e.dataTransfer.types.includes("Files")) lit(where(e));
  });
  addEventListener("dragleave", e => { if (!e.relatedTarget) lit("off"); });
  addEventListener("drop", e => {
    e.preventDefault();
    lit("off");
    dropAll([...e.dataTransfer.files], where(e));
  });
  let typed = null; // the box in which something was typed that is not taken yet
  addEventListener("input", e => { typed = /^(text|search)$/.test(e.target.type) ? e.target : null; });
  for (const name of ["change", "focusout"]) addEventListener(name, () => { typed = null; });
  addEventListener("keydown", e => {
    if (!e.ctrlKey && !e.metaKey) return;
    const k = e.key.toLowerCase();
    if (k === "s") save();
    else if (document.querySelector("dialog[open]") || e.target.type === "search" || e.target === typed || e.target.getAttribute("aria-invalid") === "true") return; // undone in the box
    else if (k === "z" && !e.shiftKey) act("/undo");
    else if (k === "y" || k === "z") act("/redo");
    else return;
    e.preventDefault();
  });
  at("beside").addEventListener("change", () => { if (at("beside").value === "side") stage.reference(sides[state.ab === "A" ? "B" : "A"], exposures[state.ab === "A" ? "B" : "A"] || 0, "side"); });
  listen(() => {
    at("beside").querySelector("[value=side]").disabled = !sides[state.ab === "A" ? "B" : "A"].frame;
    at("beside").querySelector("[value=kept]").disabled = !stage.other.frame || at("beside").value === "side";
    at("undo").disabled = !state.undo;
    at("redo").disabled = !state.redo;
    const n = state.edited.length;
    at("save").disabled = n === 0 && !state.stale;
    at("unsaved").title = state.restored ? state.restored + " steps were taken up from the last time" : "";
    at("unsaved").classList.toggle("warn", !!state.stale || !!state.broken);
    at("unsaved").textContent = state.broken ? "the file on disk is broken" : state.stale ? "the file has changed on disk" : n === 0 ? "as saved" : n === 1 ? "1 key not saved" : n + " keys not saved";
    for (const s of ["A", "B"]) at("side" + s).setAttribute("aria-pressed", String(state.ab === s));
    at("shots").textContent = "Snapshots" + (state.snapshots.length ? " (" + state.snapshots.length + ")" : "");
    document.title = (n ? "• " : "") + state.scene;
  });
}
