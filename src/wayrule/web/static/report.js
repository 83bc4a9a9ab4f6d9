// Prints the report in its frame, not the page about it.
"use strict";
(() => {
  const frame = document.getElementById("preview");
  const button = document.getElementById("print");
  const ready = () => { button.disabled = !frame.contentDocument || !frame.contentDocument.querySelector("h1"); };
  ready();
  frame.addEventListener("load", ready);
  button.addEventListener("click", () => frame.contentWindow.print());
})();
