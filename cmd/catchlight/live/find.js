// Every key, found by words: of its name, its meaning or its source.
import { make, at } from "./make.js";
import { all, chain, range, selector } from "./keys.js";
import { names, value, state, act, acts } from "./desk.js";
import { any } from "./field.js";
import { writing } from "./stage.js";
import { say } from "./say.js";

const most = 24;

// plain writes a key as people say it.
const plain = key => key.split(".").slice(-2).join(" ").replaceAll("_", " ");

// fits tells whether a key, and each block about it, may be given where the scene is as it is.
export function fits(k) {
  const parts = k.key.split(".");
  return acts(k.key) && parts.every((_, i) => {
    const key = parts.slice(0, i + 1).join("."), s = selector(key);
    return !s || !value(s) || chain(key).at(-1).only.includes(value(s));
  });
}

// also are words by which people look for a key that has others; by the key's end.
const also = [
  [/\.sclera\.(tone_down|veins)$/, "quiet veins tone down calm rested less red bloodshot"], [/\.iris\.pupil$/, "diameter size wide"], [/\.limbal-grey\.amount$/, "limbus dark darkness ring"],
  [/\.(tint|colour)$/, "warm warmth cool"], [/^lights\.[^.]*\.(ev)$/, "strength bright brightness dim"], [/^view\.exposure$/, "brightness darker brighter"],
  [/\.lids\./, "eyelid blink squint open closed"], [/\.orbit\./, "round place direction move"], [/\.gaze\./, "look direction aim"], [/\.cornea\.(roughness|wobble)$/, "wet tear film dry shine glint"],
];

// rank says how well a key answers the words; 0 is not at all.
function rank(k, words) {
  const name = k.key.toLowerCase().replaceAll("_", " "), doc = (k.field.doc + " " + (k.field.source || "")).toLowerCase();
  const more = also.filter(([end]) => end.test(k.key)).map(([, words]) => words).join(" ").split(" ");
  let sum = 0;
  for (const w of words) {
    const last = name.split(".").pop();
    if (last.startsWith(w)) sum += 6;
    else if (name.includes(w)) sum += 4;
    else if (more.some(m => m.startsWith(w))) sum += 3;
    else if (doc.includes(w)) sum += 1;
    else return 0;
  }
  return sum + (state.set.includes(k.key) ? 0.5 : 0);
}

function card(k) {
  const back = make("button", { type: "button", className: "quietly", hidden: !state.edited.includes(k.key) }, "Back to the file's");
  back.addEventListener("click", () => act("/reset", { key: k.key }));
  const from = k.field.source ? "Default: " + k.field.source + "." : "";
  return make("li", {}, make("code", {}, k.key), any(k.key, plain(k.key)), make("p", { className: "doc" }, k.field.doc + "."),
    make("p", { className: "doc quiet" }, [range(k.field) && "Range " + range(k.field) + ".", from].filter(t => t).join(" ")), back);
}

export function begin() {
  const box = at("find"), out = at("found"), count = at("foundcount");
  let timer = 0;
  const look = () => {
    const words = box.value.toLowerCase().split(/[\s._]+/).filter(w => w);
    document.body.classList.toggle("finding", words.length > 0);
    if (!words.length) {
      out.replaceChildren();
      count.textContent = "";
      return;
    }
    const hits = all(names).filter(fits).map(k => ({ k, r: rank(k, words) })).filter(h => h.r > 0).sort((a, b) => b.r - a.r || a.k.key.length - b.k.key.length);
    out.replaceChildren(...hits.slice(0, most).map(h => card(h.k)));
    count.textContent = hits.length === 0 ? "No key has these words." : hits.length > most ? hits.length + " keys; the best " + most + " are shown." : hits.length === 1 ? "1 key." : hits.length + " keys.";
    say(count.textContent);
  };
  box.addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(look, 100);
  });
  addEventListener("keydown", e => {
    if (document.querySelector("dialog[open]")) return;
    if (e.key === "Escape" && box.value) {
      e.preventDefault();
      clearTimeout(timer);
      const gone = out.contains(e.target);
      box.value = "";
      look();
      if (gone) box.focus();
    }
    if (e.key === "/" && !writing(e)) {
      e.preventDefault();
      box.focus();
      box.select();
    }
  });
}
