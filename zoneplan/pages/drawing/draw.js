/* The pencil of the map: its words, its corners, keys for its buttons; and it tells of every move. */
(function () {
  "use strict";
  const local = L.drawLocal, drawing = local.draw, editing = local.edit;
  Object.assign(drawing.toolbar.buttons, { polygon: "Draw an outline" });
  drawing.toolbar.actions = { title: "Stop, and keep nothing of this one", text: "Stop" };
  drawing.toolbar.finish = { title: "End it at the last corner", text: "Finish" };
  drawing.toolbar.undo = { title: "Take the last corner back", text: "Last corner back" };
  drawing.handlers.polygon.tooltip = {
    start: "Click the first corner.",
    cont: "Click the next corner.",
    end: "Click the next corner, or the first one to close.",
  };
  drawing.handlers.polyline.error = "The edge must not cross itself.";
  Object.assign(editing.toolbar.buttons, {
    edit: "Move corners",
    editDisabled: "No corners to move yet",
    remove: "Delete",
    removeDisabled: "Nothing to delete yet",
  });
  editing.toolbar.actions = {
    save: { title: "Leave all corners where they are now", text: "Done" },
    cancel: { title: "Put everything back as it was", text: "Put back" },
    clearAll: { title: "Delete everything that is drawn here", text: "Delete all" },
  };
  editing.handlers.edit.tooltip = {
    text: "Drag a corner, or a faint one to make a corner there.",
    subtext: "Click a corner to take it away.",
  };
  editing.handlers.remove.tooltip = { text: "Click what is to be deleted." };

  // A finger needs larger corners than a mouse.
  const side = window.matchMedia("(pointer: coarse)").matches ? 26 : 12;
  const corner = new L.DivIcon({ iconSize: [side, side], className: "corner" });
  [L.Draw.Polyline, L.Edit.PolyVerticesEdit].forEach(function (kind) {
    kind.mergeOptions({ icon: corner, touchIcon: corner });
  });
  L.Polyline._flat = L.LineUtil.isFlat; // the name it has by now

  /* `place` is where the map is and what is drawn there; `state` is what it began with. */
  window.pencil = function (map, drawn, place, state) {
    // The map takes the focus when the button goes down: the page must not scroll below it.
    const box = map.getContainer();
    box.focus = function () {
      HTMLElement.prototype.focus.call(box, { preventScroll: true });
    };
    const write = drawn.toGeoJSON;
    drawn.toGeoJSON = function () {
      return write.call(drawn, 7); // decimals: a centimetre
    };
    map.on("draw:created", function (event) {
      event.layer.feature = { type: "Feature", properties: { mark: String(Date.now()) } };
    });
    function tell() {
      map.fire("draw:edited", { layers: drawn });
    }

    // The page may load the map anew at any time: it takes up again what was drawn and seen.
    const memory = "drawn: " + place;
    const kept = JSON.parse(sessionStorage.getItem(memory) || "{}");
    function keep(part) {
      sessionStorage.setItem(memory, JSON.stringify(Object.assign(kept, part)));
    }
    if (kept.state === state && kept.drawn) {
      drawn.clearLayers().addData(kept.drawn);
      setTimeout(tell); // once somebody listens
    } else {
      keep({ state: state, drawn: null });
    }
    if (kept.at) map.setView(kept.at, kept.zoom, { animate: false });
    map.on("moveend", function () {
      keep({ at: map.getCenter(), zoom: map.getZoom() });
    });
    map.on("draw:edited", function () {
      keep({ drawn: drawn.toGeoJSON() });
    });
    drawn.on("layeradd layerremove", tell);
    map.on("draw:editvertex draw:editmove draw:editstop draw:deletestop", tell);

    function asButtons() {
      map.getContainer().querySelectorAll(".leaflet-draw a").forEach(function (link) {
        link.setAttribute("role", "button");
        link.setAttribute("aria-disabled", link.classList.contains("leaflet-disabled"));
        link.onkeydown = function (event) {
          if (event.key !== " ") return;
          event.preventDefault();
          link.click();
        };
      });
    }
    asButtons();
    map.on("draw:toolbaropened draw:toolbarclosed layeradd layerremove", asButtons);
  };
})();
