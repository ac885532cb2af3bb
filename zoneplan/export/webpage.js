"use strict";
(() => {
  const NEAREST = 16, CLOSER = 1.5, STEP = 0.25; // zoom at most, zoom at a time, share of the map moved
  const LETTERS = 3.8; // pixels to the millimetre of the drawing, at which its letters read well
  const TAP = 6; // pixels that a tap may wander
  const WAYS = { left: [-1, 0], right: [1, 0], up: [0, -1], down: [0, 1] };
  const KEYS = {
    ArrowLeft: "left", ArrowRight: "right", ArrowUp: "up", ArrowDown: "down",
    "+": "in", "=": "in", "-": "out", _: "out", 0: "whole", Home: "whole",
  };
  const one = (query, within = document) => within.querySelector(query);
  const all = (query, within = document) => Array.from(within.querySelectorAll(query));
  const of = (card) => card.dataset.zones.split(" "); // zones that are told together
  const said = one(".said"), parts = all(".moisture"), cards = all(".zone");
  const maps = parts.map((part) => {
    const frame = one(".map", part), svg = one("svg", frame);
    const [x, y, w, h] = svg.getAttribute("viewBox").split(" ").map(Number);
    const drawn = (query, name) => all(query, svg)
      .filter((it) => !it.closest("g[data-zone]") && !it.parentNode.closest("pattern"))
      .map((it) => [it, name, it.getAttribute(name)]);
    return {
      frame, svg, x, y, w, h, metres: w / parseFloat(svg.getAttribute("width")),
      lines: drawn("[stroke-width]", "stroke-width"), hatches: drawn("pattern", "patternTransform"),
    };
  });
  const view = { zoom: 1, x: maps[0].x + maps[0].w / 2, y: maps[0].y + maps[0].h / 2 };
  let moisture = "moist", chosen = "";

  const current = () => maps[parts.findIndex((part) => part.dataset.moisture === moisture)];
  const within = (at, from, whole, part) => Math.min(Math.max(at, from + part / 2), from + whole - part / 2);

  // The view on the map that is shown: lines, hatches and letters stay as wide as on paper.
  function draw() {
    const map = current(), w = map.w / view.zoom, h = map.h / view.zoom;
    view.x = within(view.x, map.x, map.w, w);
    view.y = within(view.y, map.y, map.h, h);
    const box = map.svg.getBoundingClientRect(), px = Math.max(w / box.width, h / box.height);
    const k = Math.min(1, (LETTERS * px) / map.metres);
    show(map, [view.x - w / 2, view.y - h / 2, w, h], k);
    map.svg.style.setProperty("--px", px);
    map.frame.classList.toggle("near", view.zoom > 1);
  }

  function show(map, box, k) {
    map.svg.setAttribute("viewBox", box.map((it) => it.toFixed(2)).join(" "));
    map.svg.style.setProperty("--k", k);
    for (const [it, name, was] of map.lines) it.setAttribute(name, was * k);
    for (const [it, name, was] of map.hatches) it.setAttribute(name, `${was} scale(${k})`);
  }

  const ground = (x, y) => new DOMPoint(x, y).matrixTransform(current().svg.getScreenCTM().inverse());

  // Zoom, and keep what lay under one spot of the screen under another.
  function zoom(times, from, to = from) {
    const held = ground(from.x, from.y);
    view.zoom = Math.min(Math.max(view.zoom * times, 1), NEAREST);
    draw();
    const now = ground(to.x, to.y);
    view.x += held.x - now.x;
    view.y += held.y - now.y;
    draw();
  }

  function act(what) {
    const { x, y } = view, map = current(), box = map.svg.getBoundingClientRect();
    const middle = { x: box.x + box.width / 2, y: box.y + box.height / 2 };
    if (what === "whole") {
      view.zoom = 1;
      draw();
    } else if (what in WAYS) {
      view.x += (WAYS[what][0] * STEP * map.w) / view.zoom;
      view.y += (WAYS[what][1] * STEP * map.h) / view.zoom;
      draw();
      const moved = Math.hypot(view.x - x, view.y - y) > 0.01; // a centimetre is the noise of sums
      said.textContent = moved ? `Moved ${what}.` : view.zoom > 1 ? "This is the edge of the map." : "The whole field is in view.";
      return moved;
    } else {
      zoom(what === "in" ? CLOSER : 1 / CLOSER, middle);
    }
    said.textContent = view.zoom > 1 ? `Zoomed in ${view.zoom.toFixed(1)} times.` : "The whole field is in view.";
    return true;
  }

  function choose(zone) {
    chosen = zone;
    for (const card of cards) card.hidden = zone !== "" && !of(card).includes(zone);
    for (const link of all(".chips a")) {
      if (link.dataset.zone === zone) link.setAttribute("aria-current", "true");
      else link.removeAttribute("aria-current");
    }
    for (const { svg } of maps) {
      all(".mark", svg).forEach((it) => it.remove());
      const shape = zone && one(`[data-zone="${zone}"]:not(g)`, svg);
      for (const name of shape ? ["mark", "mark ring"] : []) {
        const mark = shape.cloneNode();
        mark.removeAttribute("data-zone");
        mark.removeAttribute("fill");
        mark.setAttribute("class", name);
        svg.insertBefore(mark, one("g[data-zone]", svg));
      }
    }
    bring(one(".mark", current().svg));
  }

  // A zone that is out of sight comes to the middle.
  function bring(mark) {
    if (!mark) return;
    const box = mark.getBBox(), [left, top, w, h] = current().svg.getAttribute("viewBox").split(" ").map(Number);
    const x = box.x + box.width / 2, y = box.y + box.height / 2;
    if (x > left && x < left + w && y > top && y < top + h) return;
    Object.assign(view, { x, y });
    draw();
  }

  // What a screen reader hears, and what a reader sees under the map.
  function tell() {
    const card = chosen && cards.find((one) => of(one).includes(chosen));
    said.textContent = card ? card.dataset[moisture] : one("h3", parts[maps.indexOf(current())]).textContent + ".";
  }

  function turn(to) {
    moisture = to;
    for (const part of parts) part.hidden = part.dataset.moisture !== moisture;
    draw();
  }

  function handle({ frame }) {
    const fingers = new Map();
    let wandered = 0;
    const spot = () => {
      const [a, b = a] = fingers.values();
      return { x: (a.x + b.x) / 2, y: (a.y + b.y) / 2, spread: Math.hypot(a.x - b.x, a.y - b.y) };
    };
    frame.tabIndex = 0;
    frame.setAttribute("role", "group");
    frame.setAttribute("aria-label", "Map. Plus and minus zoom, arrow keys move, 0 shows the whole field.");
    frame.classList.add("live");
    frame.addEventListener("pointerdown", (event) => {
      if (event.button) return;
      if (!fingers.size) wandered = 0;
      fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    });
    frame.addEventListener("pointermove", (event) => {
      if (!event.buttons) fingers.delete(event.pointerId); // it was let go of elsewhere
      if (!fingers.has(event.pointerId)) return;
      const before = spot();
      fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
      const after = spot();
      wandered += Math.hypot(after.x - before.x, after.y - before.y) + Math.abs(after.spread - before.spread);
      if (wandered <= TAP) return;
      frame.setPointerCapture(event.pointerId);
      zoom(before.spread && after.spread ? after.spread / before.spread : 1, before, after);
    });
    for (const name of ["pointerup", "pointercancel"]) {
      frame.addEventListener(name, (event) => fingers.delete(event.pointerId));
    }
    // One finger scrolls the page until the map is zoomed in; two always zoom the map.
    frame.addEventListener("touchmove", (event) => {
      if (event.touches.length > 1 || view.zoom > 1) event.preventDefault();
    }, { passive: false });
    // The wheel scrolls the page until the map has been clicked.
    frame.addEventListener("wheel", (event) => {
      const back = event.deltaY > 0;
      if (!(event.ctrlKey || frame.contains(document.activeElement)) || (back && view.zoom === 1)) return;
      event.preventDefault();
      zoom(Math.exp(-event.deltaY * (event.deltaMode ? 0.05 : 0.002)), { x: event.clientX, y: event.clientY });
    }, { passive: false });
    frame.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.metaKey || event.altKey || !(event.key in KEYS)) return;
      if (act(KEYS[event.key])) event.preventDefault();
    });
    frame.addEventListener("click", (event) => {
      const shape = event.target.closest("[data-zone]");
      if (!shape || wandered > TAP) return;
      choose(shape.dataset.zone);
      tell();
    });
  }

  for (const it of all(".switch, .tools")) it.hidden = false;
  maps.forEach(handle);
  one(".tools").addEventListener("click", ({ target }) => target.dataset.do && act(target.dataset.do));
  one(".switch").addEventListener("change", ({ target }) => {
    turn(target.value);
    tell();
  });
  document.addEventListener("click", (event) => {
    const link = event.target.closest("a[data-zone]");
    if (!link) return;
    if (link.closest(".chips")) event.preventDefault();
    choose(link.dataset.zone);
    tell();
  });
  addEventListener("resize", draw);
  addEventListener("beforeprint", () => maps.forEach((map) => show(map, [map.x, map.y, map.w, map.h], 1)));
  addEventListener("afterprint", draw);
  const asked = cards.flatMap(of).find((zone) => `#about-${zone}` === location.hash);
  turn(one(".switch :checked").value);
  choose(asked || of(cards[0])[0]);
  said.textContent = "Choose a zone on the map or below. Two fingers zoom the map.";
})();
