// One cursor for all charts, two picked places, layers, and the shown range. Numbers come from the desk.
"use strict";
(async () => {
  const at = (name) => document.getElementById(name);
  const own = at("track").dataset;
  const liked = matchMedia("(prefers-color-scheme: dark)");
  liked.addEventListener("change", () => location.reload());

  const answer = await fetch(`/track-charts/${own.path}?dark=${liked.matches ? 1 : 0}`).catch(() => null);
  if (!answer || !answer.ok) { at("lost").textContent = own.lost; at("lost").hidden = false; return; }
  const { doc, roots, read, closed } = await answer.json();
  const homes = Object.fromEntries(Object.entries(roots).map(([name, ident]) => [ident, `chart-${name}`]));
  await Bokeh.embed.embed_items({ track: doc }, [{ docid: "track", roots: homes, root_ids: Object.values(roots) }]);
  const drawn = Bokeh.documents[Bokeh.documents.length - 1];
  const charts = Object.fromEntries(Object.entries(roots).map(([name, ident]) => [name, drawn.get_model_by_id(ident)]));
  const lines = Object.entries(charts).filter(([name]) => name !== "map").map(([, chart]) => chart);
  const reach = lines.length ? lines[0].x_range : null;
  const dots = {};
  if (charts.map) for (const r of charts.map.renderers) if (r.data_source && r.data_source.name) dots[r.data_source.name] = r.data_source;

  function nearest(s_mm) {
    let low = 0, high = read.s_mm.length - 1;
    while (high - low > 1) { const middle = (low + high) >> 1; if (read.s_mm[middle] <= s_mm) low = middle; else high = middle; }
    return s_mm - read.s_mm[low] < read.s_mm[high] - s_mm ? low : high;
  }
  function on_map(x, y) {
    let best = 0, least = Infinity;
    for (let i = 0; i < read.s_mm.length; i++) {
      const d = (read.x_mm[i] / 1000 - x) ** 2 + (read.y_mm[i] / 1000 - y) ** 2;
      if (d < least) { least = d; best = i; }
    }
    return best;
  }
  function put(name, i) {
    for (const chart of lines) for (const span of chart.center) if (span.name === name) {
      span.location = read.s_mm[i] / 1000;
      span.visible = true;
    }
    if (dots[name]) dots[name].data = { x: [read.x_mm[i] / 1000], y: [read.y_mm[i] / 1000] };
  }
  const number = (value, digits) => value.toFixed(digits).replace("-", "−");
  function said(value, sd, factor, digits, unit) {
    if (value === null) return own.unknown;
    const wide = sd === null ? 0 : Math.abs(sd * factor);
    const places = wide > 0 ? Math.min(4, Math.max(0, 1 - Math.floor(Math.log10(wide)))) : digits;
    return `${number(value * factor, places)}${wide > 0 ? ` ± ${number(wide, places)}` : ""} ${unit}`;
  }
  function show(i) {
    put("cursor", i);
    at("cursor").value = read.s_mm[i];
    at("at-s").textContent = `${number(read.s_mm[i] / 1000, 3)} m`;
    const bend = read.curvature_1_mm[i];
    const spread = read.curvature_sd_1_mm[i];
    at("at-radius").textContent = bend === null ? own.unknown
      : Math.abs(bend) < 2 * (spread || 0) || bend === 0 ? own.straight
      : said(1 / bend, spread === null ? null : spread / bend ** 2, 1, 0, "mm");
    at("at-z").textContent = said(read.z_mm[i], read.z_sd_mm[i], 1, 2, "mm");
    at("at-gradient").textContent = said(read.gradient[i], read.gradient_sd[i], 100, 2, "%");
    at("at-cant").textContent = said(read.cant_mm[i], read.cant_sd_mm[i], 1, 2, "mm");
  }

  // A screen has a thousand columns or two: a long line is drawn by its lowest and highest station in each of them, over
  // three screens' width, and anew when it has come to rest. All stations stay at hand.
  const MOST = 1000;
  const NAMES = { curvature: ["curvature_1_mm", "curvature_sd_1_mm", 1000], profile: ["z_mm", "z_sd_mm", 1], cant: ["cant_mm", "cant_sd_mm", 1] };
  const known = (value) => value === null ? NaN : value;
  function all_of(name) {
    if (name === "map") {
      const [x, y] = ["x_mm", "y_mm"].map((c) => Float32Array.from(closed ? [...read[c], read[c][0]] : read[c], (v) => known(v) / 1000));
      return { x, y };
    }
    const [value, spread, factor] = NAMES[name];
    const v = Float32Array.from(read[value], (one) => known(one) * factor), sd = Float32Array.from(read[spread], (one) => known(one) * factor);
    const off = (k) => v.map((one, i) => one + k * sd[i]);
    return { s: Float32Array.from(read.s_mm, (one) => one / 1000), v, l2: off(-2), h2: off(2), l1: off(-1), h1: off(1) };
  }
  const whole = new Map();
  for (const [name, chart] of Object.entries(charts)) {
    whole.set(name, { source: chart.renderers.find((r) => r.name === "line").data_source, data: all_of(name) });
  }
  function columns(s, v, low, high, kept) {
    const picked = [];
    const wide = (high - low) / MOST;
    for (let i = 0; i < s.length;) {
      if (s[i] < low || s[i] > high) { i++; continue; }
      const end = wide > 0 ? s[i] + wide : s[i];
      let least = i, most = i, j = i;
      for (; j < s.length && s[j] < end; j++) { if (v[j] < v[least]) least = j; if (v[j] > v[most]) most = j; }
      picked.push(...(least === most ? [least] : least < most ? [least, most] : [most, least]));
      i = Math.max(j, i + 1);
    }
    return kept(picked);
  }
  function settle() {
    for (const [name, { source, data }] of whole) {
      const take = (picked) => Object.fromEntries(Object.entries(data).map(([k, c]) => [k, picked.map((i) => c[i])]));
      if (name === "map") {
        const x = charts.map.x_range, every = Math.max(1, Math.round(data.x.length / MOST / 2));
        const all = x.end - x.start < (Math.max(...data.x) - Math.min(...data.x)) / 3 || every === 1;
        source.data = all ? data : take([...data.x.keys()].filter((i) => i % every === 0 || i === data.x.length - 1));
      } else {
        const more = reach.end - reach.start;
        source.data = columns(data.s, data.v, reach.start - more, reach.end + more, take);
      }
    }
  }
  let resting = null;
  const moved = () => { clearTimeout(resting); resting = setTimeout(settle, 150); };

  let turn = "a";
  function pick(i) {
    at(turn).value = Math.round(read.s_mm[i]);
    put(`place-${turn}`, i);
    turn = turn === "a" ? "b" : "a";
    tell();
  }
  async function tell() {
    const a = at("a").value.trim(), b = at("b").value.trim();
    if (!a || !b) return;
    const got = await fetch(`/track-between/${own.path}?${new URLSearchParams({ a, b })}`, { headers: { accept: "application/json" } }).catch(() => null);
    const content = got ? await got.json().catch(() => null) : null;
    const list = at("between");
    list.replaceChildren();
    at("unsure").hidden = !content || content.sure !== false;
    if (!content || content.error) { list.appendChild(document.createElement("dd")).textContent = content ? content.error : own.lost; return; }
    put("place-a", nearest(Number(a)));
    put("place-b", nearest(Number(b)));
    for (const [label, text] of content.rows) {
      const row = list.appendChild(document.createElement("div"));
      row.appendChild(document.createElement("dt")).textContent = label;
      row.appendChild(document.createElement("dd")).textContent = text;
    }
  }

  for (const [name, chart] of Object.entries(charts)) {
    const where = (event) => name === "map" ? on_map(event.x, event.y) : nearest(event.x * 1000);
    let waiting = null;
    chart.on_event("mousemove", (event) => {
      if (waiting === null) requestAnimationFrame(() => { show(where(waiting)); waiting = null; });
      waiting = event;
    });
    chart.on_event("tap", (event) => { const i = where(event); show(i); pick(i); });
  }
  at("cursor").addEventListener("input", () => show(nearest(Number(at("cursor").value))));
  at("places").addEventListener("submit", (event) => { event.preventDefault(); tell(); });

  function told_range() {
    const low = Math.max(0, Math.round(reach.start * 1000)), high = Math.min(Number(own.last), Math.round(reach.end * 1000));
    at("from").value = low;
    at("to").value = high;
    at("csv").href = `/track-range/${own.path}?from=${low}&to=${high}`;
  }
  function set_range(low, high) { if (reach && high > low) { reach.start = low / 1000; reach.end = high / 1000; } }
  if (reach) reach.properties.start.change.connect(told_range);
  if (reach) reach.properties.end.change.connect(told_range);
  for (const range of [reach, charts.map && charts.map.x_range]) if (range) for (const side of ["start", "end"]) range.properties[side].change.connect(moved);
  at("range").addEventListener("submit", (event) => { event.preventDefault(); set_range(Number(at("from").value), Number(at("to").value)); });
  at("whole").addEventListener("click", () => { set_range(0, Number(own.last)); if (charts.map) charts.map.reset.emit(); });
  for (const box of document.querySelectorAll("[data-layer]")) box.addEventListener("change", () => {
    for (const chart of Object.values(charts)) for (const r of chart.renderers) if (r.name === box.dataset.layer) r.visible = box.checked;
  });
  at("moving").addEventListener("change", () => {
    for (const chart of Object.values(charts)) for (const tool of chart.toolbar.tools) tool.active = at("moving").checked;
  });
  show(0);
  settle();
  at("track").dataset.ready = "yes";
})();
