// The map of the field page. The server sends shapes once, each under its digest, and at every
// touch only how they look now; what is clicked is told at once. What the frame lost it asks for.
"use strict";

const LEAST = 0.6, PHONE = 0.55; // of the window's height: a finger must find a way past
const PHONE_PX = 620; // wide
const BELOW_PX = 16;
const HEAD_PX = 56; // of the page, that stays above what is scrolled
const AGAIN_MS = 2000; // before the same shapes are asked for again
const PLACES = 1e7; // of a degree, in which shapes are sent

const shapes = new Map(); // by digest
let map, args, turn = Date.now(), moved = false, asked = ["", 0], asking, tiles, fitted;
const drawn = { zones: null, layer: null }; // what lies on the map, and under which digest
const line = { of: "", corners: [], all: null }; // that a zone is split by, while it is drawn
const bar = Object.fromEntries(["asks", "done", "less", "back"].map(
  (id) => [id, document.getElementById(id)]));

const say = (type, more) =>
  window.parent.postMessage({ isStreamlitMessage: true, type: `streamlit:${type}`, ...more }, "*");
const tell = (value) =>
  say("setComponentValue", { value: { ...value, turn: ++turn }, dataType: "json" });

window.addEventListener("message", ({ data, source }) => {
  if (source === window.parent && data.type === "streamlit:render") render(data.args);
});
window.addEventListener("resize", refit);
const frameSize = () => say("setFrameHeight", { height: height() });
window.parent.addEventListener("resize", frameSize);
window.addEventListener("pagehide", () => window.parent.removeEventListener("resize", frameSize));
say("componentReady", { apiVersion: 1 });

// As large as the window lets, below what stands above it.
function height() {
  const { innerHeight: tall, innerWidth: wide, document: page } = window.parent;
  const main = page.querySelector("[data-testid=stMain]");
  const top = window.frameElement.getBoundingClientRect().top + (main ? main.scrollTop : 0);
  return Math.round(wide < PHONE_PX ? PHONE * tall : Math.max(LEAST * tall, tall - top - BELOW_PX));
}

function render(next) {
  args = next;
  for (const [digest, sent] of Object.entries(args.shapes)) shapes.set(digest, sent);
  const lacks = [args.zones, args.layer].filter((digest) => digest && !shapes.has(digest));
  if (lacks.length) {
    ask(lacks);
    return;
  }
  frameSize();
  if (!window.innerHeight) return; // it has no room yet: once it has, it is drawn
  if (!map) begin();
  window.frameElement.title = args.title;
  map.getContainer().setAttribute("aria-label", args.title);
  fit();
  background();
  lay("zones", args.zones, layZones);
  lay("layer", args.layer, layGround);
  look();
  askFor();
}

// Until they come: what is asked while the page runs may be passed over.
function ask(lacks) {
  clearTimeout(asking);
  asking = setTimeout(() => render(args), AGAIN_MS);
  const [before, at] = asked;
  if (before === lacks.join() && Date.now() - at < AGAIN_MS) return;
  asked = [lacks.join(), Date.now()];
  tell({ lacks });
}

function begin() {
  map = L.map("map", { zoomSnap: 0.25, scrollWheelZoom: false, attributionControl: false });
  L.control.scale().addTo(map);
  // Leaflet takes the focus when the button goes down. Where the map is half in view, the page
  // would scroll under the pointer, and the click would be a pull.
  const box = map.getContainer();
  box.focus = () => HTMLElement.prototype.focus.call(box, { preventScroll: true });
  map.on("dragstart boxzoomend", () => { moved = true; });
  box.addEventListener("click", ({ target }) => {
    if (target.closest(".leaflet-control-zoom")) moved = true;
  });
  map.on("click", ({ latlng }) => { if (splits()) corner(latlng); });
  box.addEventListener("keydown", key);
  bar.done.onclick = () => tell({ line: line.corners.map(({ lng, lat }) => [lng, lat]) });
  bar.less.onclick = () => { line.corners.pop(); showLine(); };
  bar.back.onclick = () => tell({ back: true });
  ["ground", "hatch", "edges", "chosen", "line"].forEach((name, place) => {
    map.createPane(name).style.zIndex = 400 + 10 * place;
  });
}

// ---- shapes ------------------------------------------------------------------------------------

// A line as it is sent: a corner, then the steps to the next ones.
function corners(line) {
  let [x, y] = line;
  const places = [[y / PLACES, x / PLACES]];
  for (let i = 2; i < line.length; i += 2) {
    x += line[i];
    y += line[i + 1];
    places.push([y / PLACES, x / PLACES]);
  }
  return places;
}
const rings = (parts) => parts.map((part) => part.map(corners));
const rims = (parts) => rings(parts).flat();

function lay(what, digest, draw) {
  if (drawn[what] && drawn[what].digest === digest) return;
  if (drawn[what]) drawn[what].all.remove();
  drawn[what] = digest ? { digest, all: L.layerGroup().addTo(map), ...draw(shapes.get(digest)) } : null;
  if (drawn[what]) drawn[what].paths.forEach((path) => path.addTo(drawn[what].all));
}

const path = (places, pane, className, weight, more) =>
  L.polyline(places, { pane, className, weight, interactive: false, ...more });

// Two of each shape: its colour, which takes the click, and its hatch inside a dark edge.
function pair(parts, weight) {
  const fill = L.polygon(rings(parts), { pane: "ground", className: "ground", weight: 4.5 });
  const hatch = L.polygon(rings(parts), {
    pane: "hatch", className: "edge", weight, interactive: false,
  });
  return [fill, hatch];
}

function layZones({ outline, zones, edges, hatches }) {
  patterns(hatches);
  const byId = new Map(), rim = path(rims(outline), "chosen", "outline", 3);
  for (const { id, parts, at } of zones) {
    const [fill, hatch] = pair(parts, 1.4);
    fill.on("click", () => choose(id));
    fill.bindTooltip(() => text("span", args.names[id] || ""), { sticky: true });
    const around = rims(parts);
    const chosen = [path(around, "chosen", "casing", 8), path(around, "chosen", "chosen", 5)];
    const near = [
      path(around, "edges", "casing", 9), path(around, "edges", "near", 6, { dashArray: "10 8" }),
    ];
    byId.set(id, { fill, hatch, chosen, near, at: [at[1], at[0]] });
  }
  const dashed = edges.map((one) => path(corners(one), "edges", "edge", 2.2, { dashArray: "7 5" }));
  const numbers = L.layerGroup();
  return { paths: [rim, numbers], byId, dashed, numbers };
}

function layGround({ patches }) {
  const pairs = patches.map(({ kind, name, parts }) => {
    const [fill, hatch] = pair(parts, 0.8);
    fill.on("click", ({ latlng }) => tell({ place: [latlng.lng, latlng.lat] }));
    fill.bindTooltip(() => text("span", name), { sticky: true });
    return { kind, fill, hatch };
  });
  return { paths: pairs.flatMap(({ fill, hatch }) => [fill, hatch]), pairs };
}

function patterns(drawing) {
  let svg = document.getElementById("hatches");
  if (svg) svg.remove();
  svg = new DOMParser().parseFromString(
    `<svg xmlns="http://www.w3.org/2000/svg" id="hatches">${drawing}</svg>`, "image/svg+xml");
  document.body.append(document.importNode(svg.documentElement, true));
}

// ---- how they look now -------------------------------------------------------------------------

function paint({ fill, hatch }, [colour, pattern], pale) {
  const full = (args.web ? 0.55 : 1) * (pale ? 0.3 : 1);
  fill.setStyle({ fillColor: colour, fillOpacity: full });
  hatch.setStyle({ fillColor: `url(#${pattern})`, fillOpacity: pattern === "plain" || pale ? 0 : 1 });
}

function look() {
  const { byId, dashed, numbers, all } = drawn.zones;
  const put = (path, there) => (there ? path.addTo(all) : path.removeFrom(all));
  numbers.clearLayers();
  dashed.forEach((path) => put(path, args.layer));
  for (const [id, zone] of byId) {
    put(zone.fill, !args.layer);
    put(zone.hatch, !args.layer);
    const near = joins(id);
    const others = args.asks && args.asks.kind === "join" && !near && id !== args.chosen;
    if (!args.layer) paint(zone, args.looks[id], others);
    zone.chosen.forEach((path) => put(path, id === args.chosen));
    zone.near.forEach((path) => put(path, near));
    numbers.addLayer(number(id, zone.at, near));
  }
  if (drawn.layer) drawn.layer.pairs.forEach((one) => paint(one, args.looks[one.kind]));
}

function number(id, at, near) {
  const disc = document.createElement("div"), words = near ? "join" : args.words[id];
  disc.append(text("b", id));
  if (words) disc.append(text("i", words));
  const className = id === args.chosen ? "zone chosen" : near ? "zone near" : "zone";
  const icon = L.divIcon({ html: disc, className, iconSize: [23, 23] });
  return L.marker(at, { icon, interactive: false, keyboard: false });
}

function text(tag, words) {
  const element = document.createElement(tag);
  element.textContent = words;
  return element;
}

// ---- what it is clicked for ----------------------------------------------------------------------

const joins = (id) => Boolean(args.asks && args.asks.near.includes(id));
const splits = () => Boolean(args.asks && args.asks.kind === "split");

function choose(id) {
  if (!args.asks) tell({ zone: id });
  else if (joins(id)) tell({ join: id });
}

// Say what is to be clicked; a line that is begun stays until it is done or left.
function askFor() {
  const of = args.asks ? [args.asks.kind, args.asks.zone, args.zones].join() : "";
  const begins = of && of !== line.of;
  if (of !== line.of) Object.assign(line, { of, corners: [] });
  map.getContainer().classList.toggle("splitting", splits());
  map.doubleClickZoom[splits() ? "disable" : "enable"]();
  bar.asks.className = splits() ? "split" : "join";
  bar.done.hidden = bar.less.hidden = !splits();
  showLine();
  if (bar.asks.hidden === Boolean(args.asks)) { // it comes or goes below the map
    bar.asks.hidden = !args.asks;
    refit();
  }
  if (begins) intoView();
}

// A person pressed a button below the map, and is to click on it now.
function intoView() {
  const { top, bottom } = window.frameElement.getBoundingClientRect();
  const seen = top >= HEAD_PX && bottom <= window.parent.innerHeight;
  if (!seen) window.frameElement.scrollIntoView({ block: "center" });
}

function corner(latlng) {
  const last = line.corners[line.corners.length - 1];
  if (last && map.latLngToLayerPoint(last).distanceTo(map.latLngToLayerPoint(latlng)) < 3) return;
  line.corners.push(latlng.wrap());
  showLine();
}

function key(event) {
  if (!args.asks) return;
  if (event.key === "Escape") bar.back.click();
  else if (splits() && event.key === "Enter") corner(map.getCenter());
  else if (splits() && event.key === "Backspace") bar.less.click();
  else return;
  event.preventDefault();
}

function showLine() {
  if (line.all) line.all.remove();
  const { corners } = line, spots = corners.map((at) => L.circleMarker(at, {
    pane: "line", className: "corner", radius: 6, weight: 2, interactive: false,
  }));
  const way = path(corners, "line", "drawn", 4);
  line.all = L.layerGroup([path(corners, "line", "casing", 7), way, ...spots]).addTo(map);
  bar.done.disabled = corners.length < 2;
  bar.less.disabled = !corners.length;
  const count = corners.length ? ` Corners: ${corners.length}.` : "";
  bar.asks.querySelector("p").textContent = args.asks ? args.asks.words + count : "";
}

// ---- the view ----------------------------------------------------------------------------------

function background() {
  if (tiles) tiles.forEach((one) => one.remove());
  tiles = null;
  if (!args.web) return;
  const { url, credit, finest } = args.web;
  tiles = [
    L.tileLayer(url, { maxZoom: 24, maxNativeZoom: finest }).addTo(map),
    L.control.attribution({ prefix: false }).addAttribution(credit).addTo(map),
  ];
}

// The field fills the map until a person moves it.
function fit() {
  const { bounds } = shapes.get(args.zones);
  if (fitted !== bounds.join()) moved = false;
  if (moved) return;
  fitted = bounds.join();
  const [west, south, east, north] = bounds;
  map.fitBounds([[south, west], [north, east]], { padding: [24, 24], animate: false });
}

function refit() {
  if (map) {
    map.invalidateSize({ animate: false });
    fit();
  } else if (args) render(args);
}
