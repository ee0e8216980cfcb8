// Lists: lights, objects and paint. Each entry can be switched, renamed by copying, moved, copied and removed.
import { make } from "./make.js";
import { field } from "./keys.js";
import { entries, set, act, listen, names } from "./desk.js";
import { say } from "./say.js";

// list shows the entries of a list. choose(name), where given, is called when one is picked.
export function list(key, title, choose, chosen = () => "") {
  const rows = make("ol", { className: "entries", "aria-label": title });
  const f = field(key);
  const select = f && f.selector ? (f.keys || []).find(k => k.key === f.selector) : null;
  const kind = make("select", { "aria-label": "kind of what is added to " + title.toLowerCase() }, ...(select ? select.words : []).map(w => make("option", { value: w }, w)));
  const name = make("input", { type: "text", placeholder: "name", autocomplete: "off", "aria-label": "name of what is added to " + title.toLowerCase() });
  const add = make("button", { type: "button" }, "Add");
  add.addEventListener("click", () => {
    const n = name.value.trim() || free(key, kind.value);
    name.value = "";
    act("/list", { key, op: "add", name: n, to: kind.value });
  });
  const show = () => {
    const all = entries(key);
    const had = document.activeElement && rows.contains(document.activeElement) ? document.activeElement.dataset.what : "";
    rows.replaceChildren(...all.map((e, i) => row(key, e, i, all.length, choose, chosen)));
    if (had) {
      const again = [...rows.querySelectorAll("[data-what]")].find(b => b.dataset.what === had);
      if (again) again.focus();
    }
  };
  let shown = "";
  const look = () => {
    const now = JSON.stringify([entries(key).map(e => [e.name, e.on, e.kind]), chosen()]);
    if (now === shown) return;
    shown = now;
    show();
  };
  const box = make("div", { className: "list" }, rows, make("div", { className: "adder" }, kind, name, add));
  listen(look, box);
  look();
  return box;
}

// free returns a name that the list does not have yet.
function free(key, stem) {
  const taken = new Set(names(key));
  if (!taken.has(stem)) return stem;
  for (let i = 2; ; i++) if (!taken.has(stem + "-" + i)) return stem + "-" + i;
}

function row(key, e, i, count, choose, chosen) {
  const on = make("input", { type: "checkbox", checked: e.on !== false, "aria-label": e.name + " is on" });
  on.dataset.what = e.name + " on";
  on.addEventListener("change", () => set([{ key: key + "." + e.name + ".on", value: on.checked }]));
  const tool = (sign, label, go, off) => {
    const b = make("button", { type: "button", className: "tool", title: label, "aria-label": label, disabled: !!off }, sign);
    b.dataset.what = e.name + " " + sign;
    b.addEventListener("click", () => {
      go();
      say(label);
    });
    return b;
  };
  const title = choose
    ? make("button", { type: "button", className: "title", "aria-pressed": String(chosen() === e.name) }, e.name)
    : make("span", { className: "title" }, e.name);
  if (choose) {
    title.dataset.what = e.name + " title";
    title.addEventListener("click", () => choose(e.name));
  }
  return make("li", {}, on, title, make("span", { className: "quiet" }, e.kind && e.kind !== e.name ? e.kind : ""),
    tool("↑", "move " + e.name + " up", () => act("/list", { key, op: "move", name: e.name, to: String(i - 1) }), i === 0),
    tool("↓", "move " + e.name + " down", () => act("/list", { key, op: "move", name: e.name, to: String(i + 1) }), i === count - 1),
    tool("copy", "copy " + e.name, () => act("/list", { key, op: "copy", name: e.name, to: free(key, e.name + "-copy") })),
    tool("×", "remove " + e.name, () => act("/list", { key, op: "remove", name: e.name })));
}
