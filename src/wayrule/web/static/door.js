// The key stands behind the # of the address, which no browser sends anywhere: it is brought in a form, then forgotten.
"use strict";
(async () => {
  const key = new URLSearchParams(location.hash.slice(1)).get("key");
  if (!key) return;
  history.replaceState(null, "", location.pathname + location.search);
  const shown = (name, is) => { document.getElementById(name).hidden = !is; };
  shown("how", false);
  shown("trying", true);
  const answer = await fetch("/enter", { method: "POST", body: new URLSearchParams({ key }) }).catch(() => null);
  if (answer && answer.ok) { location.reload(); return; }
  shown("trying", false);
  shown("wrong", true);
})();
