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

export function dome(lights, camera, chosen, choose) {
  const g = at("dome");
  g.replaceChildren(
    draw("circle", { r: rim, class: "rim" }), draw("circle", { r: rim / 2, class: "half" }),
    draw("path", { d: `M${-rim} 0H${rim}M0 ${-rim}V${rim}`, class: "half" }), draw("circle", { r: 7, class: "eye" }));
  if (camera) {
    const c = spot(camera.azimuth, camera.elevation);
    g.append(draw("path", { d: `M${c.x - 4} ${c.y + 4}L${c.x} ${c.y - 4}L${c.x + 4} ${c.y + 4}Z`, class: "camera" }));
  }
  for (const l of lights) {
    const p = spot(l.azimuth, l.elevation);
    const dot = draw("g", { class: "lamp" + (p.behind ? " behind" : "") + (l.name === chosen ? " chosen" : ""), transform: `translate(${p.x} ${p.y})` }, draw("circle", { r: 5 }));
    const label = draw("text", { x: p.x > 20 ? -8 : 8, y: 4, "text-anchor": p.x > 20 ? "end" : "start" });
    label.textContent = l.name;
    dot.append(label);
    dot.addEventListener("click", () => choose(l.name));
    g.append(dot);
  }
  at("domewords").textContent = lights.map(l => l.name + ": " + tidy(Math.round(l.azimuth)) + "° round, " + tidy(Math.round(l.elevation)) + "° up").join("; ");
}
