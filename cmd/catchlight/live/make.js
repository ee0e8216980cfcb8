// Elements of the page.

// make returns an element with the given properties and children; names with a dash, and role, are attributes.
export function make(name, props = {}, ...children) {
  const e = document.createElement(name);
  for (const [k, v] of Object.entries(props)) {
    if (v === undefined || v === null) continue;
    if (k.includes("-") || k === "role" || k === "for" || k === "list") e.setAttribute(k, v);
    else e[k] = v;
  }
  e.append(...children.filter(c => c !== null && c !== undefined));
  return e;
}

export const at = id => document.getElementById(id);

// tidy writes a number as people do: four figures, no tail of zeros.
export function tidy(x) {
  if (typeof x !== "number" || !isFinite(x)) return "";
  if (x === 0) return "0";
  const n = Number(x.toPrecision(4));
  return Math.abs(n) >= 1e5 || Math.abs(n) < 1e-4 ? n.toExponential() : String(n);
}

const svg = "http://www.w3.org/2000/svg";

// draw returns an element of a drawing.
export function draw(name, attrs = {}, ...children) {
  const e = document.createElementNS(svg, name);
  for (const [k, v] of Object.entries(attrs)) e.setAttribute(k, v);
  e.append(...children);
  return e;
}
