// The dome: where the lights stand, as seen from the picture's side. The middle is straight before the eye, the rim is square to
// that; what stands behind the eye lies outside the rim and is hollow. Equal distances are equal angles.
import { make, draw, at, tidy } from "./make.js";

const rim = 62;

// spot returns where a direction lies on the dome.
export function spot(azimuth, elevation) {
  const a = azimuth * Math.PI / 180, e = elevation * Math.PI / 180;
  const x = Math.cos(e) * Math.sin(a), y = Math.sin(e), z = Math.cos(e) * Math.cos(a);
  const off = Math.acos(Math.max(-1, Math.min(1, z))), across = Math.hypot(x, y) || 1;
  const r = rim * Math.min(off / (Math.PI / 2), 1.36);
  return { x: r * x / across, y: -r * y / across, behind: z < 0 };
}

// lay gives each lamp's name a place beside it that lies in the drawing and over no other lamp or name, where there is one.
export function lay(spots, names) {
  const taken = spots.map(p => [p.x - 6, p.y - 6, p.x + 6, p.y + 6]);
  const over = (a, b) => Math.max(0, Math.min(a[2], b[2]) - Math.max(a[0], b[0])) * Math.max(0, Math.min(a[3], b[3]) - Math.max(a[1], b[1]));
  return spots.map((p, i) => {
    const wide = 6.5 * names[i].length;
    let best = null, least = Infinity;
    const sides = p.x > 20 ? ["end", "start", "middle"] : ["start", "end", "middle"];
    for (const dy of [4, -9, 17, -21, 29, -33, 41]) {
      for (const anchor of sides) {
        if (anchor === "middle" && dy === 4) continue;
        const x = { start: 8, end: -8, middle: 0 }[anchor], left = p.x + x - { start: 0, end: wide, middle: wide / 2 }[anchor];
        const box = [left, p.y + dy - 10, left + wide, p.y + dy + 3];
        const out = Math.max(0, -96 - box[0], box[2] - 96) * 13 + Math.max(0, -92 - box[1], box[3] - 92) * wide;
        const bad = 3 * out + taken.reduce((s, b, k) => s + (k === i ? 0 : over(box, b)), 0) + 0.01 * Math.abs(dy - 4);
        if (bad < least - 1e-9) [least, best] = [bad, { box, at: { x, y: dy, "text-anchor": anchor } }];
      }
    }
    taken.push(best.box);
    return best.at;
  });
}

export function dome(lights, camera, chosen, choose) {
  const g = at("dome");
  g.replaceChildren(
    draw("circle", { r: rim, class: "rim" }), draw("circle", { r: rim / 2, class: "half" }),
    draw("path", { d: `M${-rim} 0H${rim}M0 ${-rim}V${rim}`, class: "half" }), draw("circle", { r: 7, class: "eye" }));
  if (camera) {
    const c = spot(camera.azimuth, camera.elevation);
    g.append(draw("path", { d: `M${c.x - 4} ${c.y + 4}L${c.x} ${c.y - 4}L${c.x + 4} ${c.y + 4}Z`, class: "camera" }));
  }
  const spots = lights.map(l => spot(l.azimuth, l.elevation));
  const labels = lay(spots, lights.map(l => l.name));
  lights.forEach((l, i) => {
    const p = spots[i];
    const dot = draw("g", { class: "lamp" + (p.behind ? " behind" : "") + (l.name === chosen ? " chosen" : ""), transform: `translate(${p.x} ${p.y})` }, draw("circle", { r: 5 }));
    const label = draw("text", labels[i]);
    label.textContent = l.name;
    dot.append(label);
    dot.addEventListener("click", () => choose(l.name));
    g.append(dot);
  });
  at("domewords").textContent = lights.map(l => l.name + ": " + tidy(Math.round(l.azimuth)) + "° round, " + tidy(Math.round(l.elevation)) + "° up").join("; ");
}
