"use strict";
(() => {
  const section = document.querySelector("#answer"), form = section.querySelector("form");
  const status = section.querySelector(".saved"), head = JSON.parse(section.dataset.head);
  const value = (name) => (form.elements[name].value || "").trim();

  // What is still to be given, in words; nothing where the answer is whole.
  function lacks() {
    if (!value("answer")) return "Choose one of the three answers first.";
    if (!value("by")) return "Write your name, so that they know who answers.";
    if (value("zone") && !value("on_zone")) return "Write your note on that zone, or choose no zone.";
    if (value("on_zone") && !value("zone")) return "Choose the zone that your note is about.";
    if (value("answer") === "note" && !value("note") && !value("on_zone")) return "Write your note first.";
    return "";
  }

  form.hidden = false;
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    status.textContent = lacks();
    if (status.textContent) return;
    const { prepared_by, ...about } = head;
    const zones = value("zone") ? [{ zone: Number(value("zone")), note: value("on_zone") }] : [];
    const told = { schema: "zoneplan-reply/1", ...about, answer: value("answer"), by: value("by"), note: value("note"), zones };
    const link = document.createElement("a"), text = `${JSON.stringify(told, null, 1)}\n`;
    link.href = URL.createObjectURL(new Blob([text], { type: "application/json" }));
    link.download = `reply ${head.plan.slice(0, 8)}.json`;
    link.click();
    status.textContent = `Saved as “${link.download}” among your downloads. Send it to ${prepared_by || "whoever sent you this page"}.`;
  });
})();
