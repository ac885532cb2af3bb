// Lies over the picture of all fields and tells where it is clicked: as shares of the picture, from
// its north-west corner. It is sent nothing but the picture's size, so that a step costs nothing.
"use strict";

let wide = 1, high = 1, mostPx = 576, turn = Date.now();

const say = (type, more) =>
  window.parent.postMessage({ isStreamlitMessage: true, type: `streamlit:${type}`, ...more }, "*");
const scale = () => Math.min(window.innerWidth / wide, mostPx / high); // the picture keeps its form
const frameSize = () => say("setFrameHeight", { height: Math.round(high * scale()) });

window.addEventListener("message", ({ data, source }) => {
  if (source !== window.parent || data.type !== "streamlit:render") return;
  ({ wide, high, mostPx } = data.args);
  frameSize();
});
window.addEventListener("resize", frameSize);
window.addEventListener("click", ({ clientX, clientY }) => {
  const across = (clientX - (window.innerWidth - wide * scale()) / 2) / (wide * scale());
  const down = clientY / (high * scale());
  say("setComponentValue", { value: { across, down, turn: ++turn }, dataType: "json" });
});
say("componentReady", { apiVersion: 1 });
