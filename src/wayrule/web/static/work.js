// The steps of a piece of work as they come; after a lost network or a locked phone it asks again.
"use strict";
(() => {
  const at = (name) => document.getElementById(name);
  const words = at("work").dataset;
  function show(content) {
    at("state").textContent = content.ending ? words.ending : words[content.state];
    at("told").replaceChildren(...content.told.map(([text, took]) => {
      const line = document.createElement("li");
      line.textContent = text + " ";
      if (took) {
        const time = line.appendChild(document.createElement("span"));
        time.className = "key";
        time.textContent = took;
      }
      return line;
    }));
    at("error").textContent = content.error;
    at("error").hidden = !content.error;
    if (content.to) at("result").querySelector("a").href = content.to;
    at("result").hidden = !content.to;
    at("back").hidden = content.state === "running" || content.state === "done";
    if (at("cancel")) at("cancel").hidden = content.state !== "running";
    return content.state === "running";
  }
  function watch() {
    let goes_on = true;
    const wire = new WebSocket(`ws://${location.host}/work/${words.ident}/live`);
    wire.onmessage = (event) => { at("lost").hidden = true; goes_on = show(JSON.parse(event.data)); };
    wire.onclose = () => { if (goes_on) { at("lost").hidden = false; setTimeout(watch, 1000); } };
  }
  if (at("state").textContent === words.running || at("state").textContent === words.ending) watch();
})();
