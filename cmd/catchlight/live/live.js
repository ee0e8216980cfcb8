import { get, tab } from "./talk.js";
import { read } from "./stream.js";
import { Look } from "./picture.js";

const at = id => document.getElementById(id);
const looks = { traced: new Look(), raster: new Look() };

// draw lays the raster look at the right of the divider over the traced one.
function draw() {
  const canvas = at("picture");
  const to = canvas.getContext("2d");
  const border = Math.round(canvas.width * at("divider").value / 1000);
  to.drawImage(looks.traced.canvas, 0, 0);
  if (border < canvas.width && looks.raster.frame) {
    to.drawImage(looks.raster.canvas, border, 0, canvas.width - border, canvas.height, border, 0, canvas.width - border, canvas.height);
  }
}

function take(header, bytes) {
  if (!bytes) return;
  const look = looks[header.look];
  const canvas = at("picture");
  if (!look || !look.take(header, bytes, canvas.width, canvas.height)) return;
  at("state").textContent = header.look + ", " + header.samples + " samples, error " + header.error.toFixed(1) + " of 255";
  draw();
}

async function start() {
  at("divider").addEventListener("input", draw);
  const state = await get("/state");
  at("scene").textContent = state.scene;
  document.body.dataset.ready = "yes";
  const frames = await fetch("/frames?tab=" + tab);
  await read(frames.body, take);
}

start().catch(e => { at("said").textContent = e.message; });
