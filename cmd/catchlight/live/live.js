// The page as a whole: learns the schema and the state, lays out the controls, and reads frames for as long as the server sends them.
import { make, at } from "./make.js";
import { get, tab } from "./talk.js";
import { read } from "./stream.js";
import { learn, field } from "./keys.js";
import { state, refresh, refreshSoon, listen, troubles, complain, well, eye, problem } from "./desk.js";
import * as stage from "./stage.js";
import * as handles from "./handles.js";
import * as parts from "./eye.js";
import * as light from "./light.js";
import * as find from "./find.js";
import * as keep from "./keep.js";
import { list } from "./lists.js";

// word takes what the server says between frames.
function word(h) {
  switch (h.word) {
    case "state":
      stage.changed(h.run);
      refreshSoon();
      break;
    case "problem":
      if (h.key && field(h.key)) problem(h.key, h.problem + (h.range ? "; allowed is " + h.range : ""));
      else if (h.problem) complain(new Error(h.problem), "engine");
      else well("engine");
      break;
    case "old":
      stage.older(h);
      break;
    case "new":
      stage.renewed(h);
      break;
    case "progress":
      progress(h);
      break;
  }
}

let cleared = 0;
// progress shows how far a file is; that it is done is shown for half a minute.
function progress(h) {
  const done = !!h.file || /^(wrote|stopped)/.test(h.text);
  at("progress").textContent = h.text + (h.share !== undefined && !done ? ", " + Math.round(100 * h.share) + " %" : "");
  at("stop").hidden = done;
  clearTimeout(cleared);
  if (done) cleared = setTimeout(() => { at("progress").textContent = ""; }, 30000);
}

// frames reads the stream, and begins again where it broke off.
async function frames() {
  for (let wait = 500; ; wait = Math.min(8000, 2 * wait)) {
    try {
      const r = await fetch("/frames?tab=" + tab);
      if (!r.ok) throw new Error("the server answered " + r.status);
      document.body.dataset.connected = "yes";
      stage.view();
      await read(r.body, (h, bytes) => {
        wait = 500;
        if (bytes) stage.take(h, bytes); else word(h);
      });
    } catch {
      // The word below says it.
    }
    document.body.dataset.connected = "no";
    at("sure").textContent = "The program does not answer; the picture is as it was.";
    await new Promise(f => setTimeout(f, wait));
  }
}

let troubled = ""; // what the state last said was wrong

async function start() {
  let now = ""; // whose message is shown
  troubles((text, whose) => {
    if (!text && whose !== now) return;
    now = text ? whose : "";
    at("trouble").replaceChildren();
    if (text) at("trouble").replaceChildren(make("span", {}, text), make("button", { type: "button", className: "tool", "aria-label": "put the message away", onclick: () => at("trouble").replaceChildren() }, "×"));
  });
  learn(await get("/schema"));
  stage.begin();
  keep.begin();
  listen(() => {
    at("scene").textContent = state.scene;
    at("scene").title = state.folder || "";
    if (state.problem && state.problem !== troubled) complain(new Error(state.problem), "state");
    if (!state.problem) well("state");
    troubled = state.problem || "";
  });
  await refresh();
  handles.begin();
  parts.begin();
  light.begin();
  find.begin();
  at("objects").append(list("objects", "Objects"));
  let painted = "";
  listen(() => {
    const key = eye() ? "objects." + eye() + ".paint" : "";
    if (key === painted) return;
    painted = key;
    at("paint").replaceChildren(...(key ? [list(key, "Paint")] : []));
  });
  await refresh();
  document.body.dataset.ready = "yes";
  frames();
}

start().catch(e => { at("trouble").textContent = e.message; });
