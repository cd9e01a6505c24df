"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const {head} = data;
  // A sketch has no place: it is found by its name, after all those on the map.
  const placed = data.sites.filter(site => site[3] !== null);
  const sites = placed.concat(data.sites.filter(site => site[3] === null));
  const element = id => document.getElementById(id);
  const UNITS = 1e7, CELL = 56, CLUSTER_BELOW = 16, MARKS_FROM = 18, NAMES_FROM = 19;
  const count = placed.length;

  // Every vertex once in the world's own square (0 to 1), east and south.
  const worldX = units => units / UNITS / 360 + 0.5;
  const worldY = units => {
    const sine = Math.sin(Math.max(Math.min(units / UNITS, 85.05), -85.05) * Math.PI / 180);
    return 0.5 - Math.log((1 + sine) / (1 - sine)) / (4 * Math.PI);
  };
  const startX = new Float64Array(count), startY = new Float64Array(count);
  const kind = new Uint8Array(count), shown = new Uint8Array(head.classes.length).fill(1);
  const first = new Uint32Array(count + 1);
  let vertices = 0;
  for (let i = 0; i < count; i++) { first[i] = vertices; vertices += sites[i][6].length / 2; }
  first[count] = vertices;
  const lineX = new Float64Array(vertices), lineY = new Float64Array(vertices);
  for (let i = 0; i < count; i++) {
    const site = sites[i], steps = site[6];
    startX[i] = worldX(site[3]);
    startY[i] = worldY(site[4]);
    kind[i] = site[5];
    let x = site[3], y = site[4];
    for (let k = 0, at = first[i]; k < steps.length; k += 2, at++) {
      x += steps[k];
      y += steps[k + 1];
      lineX[at] = worldX(x);
      lineY[at] = worldY(y);
    }
  }

  const shapePath = (context, shape, x, y, r) => {
    context.beginPath();
    if (shape === "disc") context.arc(x, y, r, 0, 2 * Math.PI);
    else {
      const corners = {octagon: 8, diamond: 4, triangle: 3, square: 4}[shape];
      const turn = {octagon: Math.PI / 8, diamond: 0, triangle: -Math.PI / 2, square: Math.PI / 4}[shape];
      for (let k = 0; k < corners; k++) {
        const angle = turn + 2 * Math.PI * k / corners;
        context.lineTo(x + r * Math.cos(angle), y + r * Math.sin(angle));
      }
      context.closePath();
    }
  };
  const mark = (context, of, x, y, r) => {
    const {colour, shape} = head.classes[of];
    shapePath(context, shape, x, y, r);
    context.fillStyle = colour;
    context.fill();
    context.lineWidth = 1.5;
    context.strokeStyle = "#fff";
    context.stroke();
  };

  let drawn = [];  // what can be picked: [x, y, reach, site or cluster]
  let picked = -1;

  const Sites = L.Renderer.extend({
    options: {padding: 0.4},
    _initContainer() {
      this._container = document.createElement("canvas");
      this._context = this._container.getContext("2d");
    },
    _destroyContainer() { this._container.remove(); },
    _updatePaths() {},
    _update() {
      if (this._map._animatingZoom && this._bounds) return;
      L.Renderer.prototype._update.call(this);
      const {min} = this._bounds, size = this._bounds.getSize();
      const ratio = Math.min(window.devicePixelRatio || 1, 2);
      L.DomUtil.setPosition(this._container, min);
      this._container.width = ratio * size.x;
      this._container.height = ratio * size.y;
      this._container.style.width = size.x + "px";
      this._container.style.height = size.y + "px";
      this._context.setTransform(ratio, 0, 0, ratio, -ratio * min.x, -ratio * min.y);
      draw(this._context, this._map, this._bounds);
    },
  });

  function draw(context, map, bounds) {
    const zoom = map.getZoom(), scale = 256 * 2 ** zoom, origin = map.getPixelOrigin();
    const left = bounds.min.x - 20, right = bounds.max.x + 20, top = bounds.min.y - 20, bottom = bounds.max.y + 20;
    const near = [];
    for (let i = 0; i < count; i++) {
      if (!shown[kind[i]]) continue;
      const x = startX[i] * scale - origin.x, y = startY[i] * scale - origin.y;
      if (x > left - 200 && x < right + 200 && y > top - 200 && y < bottom + 200) near.push(i);
    }
    drawn = [];
    if (zoom < CLUSTER_BELOW) clusters(context, near, scale, origin);
    else routes(context, near, scale, origin, zoom);
  }

  function clusters(context, near, scale, origin) {
    const cells = new Map();
    for (const i of near) {
      // Cells of the world, not of the window: they stay while the map moves.
      const x = startX[i] * scale, y = startY[i] * scale;
      const key = Math.floor(x / CELL) * 4194304 + Math.floor(y / CELL);
      let cell = cells.get(key);
      if (!cell) cells.set(key, cell = {x: 0, y: 0, of: new Uint32Array(head.classes.length), all: 0, site: i});
      cell.x += x; cell.y += y; cell.all++; cell.of[kind[i]]++;
    }
    context.textAlign = "center";
    context.textBaseline = "middle";
    for (const cell of cells.values()) {
      const x = cell.x / cell.all - origin.x, y = cell.y / cell.all - origin.y;
      if (cell.all === 1) {
        mark(context, kind[cell.site], x, y, 6.5);
        drawn.push([x, y, 9, cell.site]);
        continue;
      }
      const r = Math.min(11 + 3.2 * Math.log10(cell.all) * 1.6, 26);
      let from = -Math.PI / 2;
      head.classes.forEach((one, k) => {  // a ring shared out by what the sites are
        const to = from + 2 * Math.PI * cell.of[k] / cell.all;
        if (to > from) {
          context.beginPath();
          context.moveTo(x, y);
          context.arc(x, y, r, from, to);
          context.closePath();
          context.fillStyle = one.colour;
          context.fill();
        }
        from = to;
      });
      context.beginPath();
      context.arc(x, y, r - 4.5, 0, 2 * Math.PI);
      context.fillStyle = "#fff";
      context.fill();
      context.fillStyle = "#16191c";
      const words = cell.all < 10000 ? String(cell.all) : Math.round(cell.all / 1000) + "k";
      context.font = `600 ${words.length > 3 ? 10 : 11}px system-ui, sans-serif`;
      context.fillText(words, x, y + 0.5);
      drawn.push([x, y, r, -1]);
    }
  }

  function routes(context, near, scale, origin, zoom) {
    const line = (i, colour, width) => {
      context.beginPath();
      for (let at = first[i]; at < first[i + 1]; at++)
        context.lineTo(lineX[at] * scale - origin.x, lineY[at] * scale - origin.y);
      context.strokeStyle = colour;
      context.lineWidth = width;
      context.stroke();
    };
    context.lineJoin = context.lineCap = "round";
    for (const i of near) {
      if (i === picked) line(i, "#16191c", 9);
      line(i, "#fff", 6);
      line(i, head.classes[kind[i]].colour, 3);
    }
    for (const i of near) {
      const x = startX[i] * scale - origin.x, y = startY[i] * scale - origin.y;
      mark(context, kind[i], x, y, i === picked ? 9 : 6);
      drawn.push([x, y, 9, i]);
      for (let at = first[i]; at < first[i + 1]; at++)
        drawn.push([lineX[at] * scale - origin.x, lineY[at] * scale - origin.y, 7, i]);
      if (zoom >= MARKS_FROM)
        for (const [dx, dy, , , of] of sites[i][7]) {
          if (dx === null) continue;
          const at = [worldX(sites[i][3] + dx) * scale - origin.x, worldY(sites[i][4] + dy) * scale - origin.y];
          mark(context, of, at[0], at[1], 4);
        }
    }
    if (zoom < NAMES_FROM) return;
    context.font = "12px system-ui, sans-serif";
    context.textAlign = "left";
    context.textBaseline = "middle";
    for (const i of near) {
      const x = startX[i] * scale - origin.x + 12, y = startY[i] * scale - origin.y;
      const words = short(sites[i][1], 40);
      context.lineWidth = 3;
      context.strokeStyle = "#fff";
      context.strokeText(words, x, y);
      context.fillStyle = "#16191c";
      context.fillText(words, x, y);
    }
  }

  const short = (text, most) => text.length > most ? text.slice(0, most - 1) + "…" : text;

  const map = L.map("map", {attributionControl: false, minZoom: 1, maxZoom: 23, zoomSnap: 0.5, wheelPxPerZoomLevel: 110});
  L.control.scale({imperial: head.unit !== "m", metric: head.unit === "m"}).addTo(map);
  const layer = new Sites();
  const redraw = () => layer._map && layer._update();

  function seeAll() {
    let west = 1, east = 0, north = 1, south = 0;
    for (let i = 0; i < count; i++) {
      if (startX[i] < west) west = startX[i];
      if (startX[i] > east) east = startX[i];
      if (startY[i] < north) north = startY[i];
      if (startY[i] > south) south = startY[i];
    }
    if (!count) return map.setView([0, 0], 2);
    const degrees = (x, y) => [Math.atan(Math.sinh(Math.PI * (1 - 2 * y))) * 180 / Math.PI, (x - 0.5) * 360];
    map.fitBounds([degrees(west, south), degrees(east, north)], {maxZoom: 18, padding: [40, 40], animate: false});
  }
  seeAll();
  layer.addTo(map);
  // The canvas is wider than the window; only beyond it must be drawn before the hand lets go.
  map.on("move", () => {
    if (map._animatingZoom || !layer._bounds) return;
    const size = map.getSize(), corner = map.containerPointToLayerPoint([0, 0]);
    const window_ = L.bounds(corner, corner.add(size));
    if (!layer._bounds.contains(window_)) redraw();
  });

  const add = (parent, tag, text, name) => {
    const made = document.createElement(tag);
    made.textContent = text;
    if (name) made.className = name;
    parent.appendChild(made);
    return made;
  };

  function pick(i, fly) {
    picked = i;
    const [path, name, date, lon, lat, of, , findings, [length, depth, past, dangers], diagnosis, worst] = sites[i];
    element("picked").hidden = false;
    element("picked-title").textContent = name;
    const rows = element("picked-rows");
    rows.replaceChildren();
    const tell = (what, value) => { if (value !== null && value !== "") { add(rows, "dt", what); add(rows, "dd", String(value)).dir = "auto"; } };
    tell("Shown as", head.classes[of].words);
    tell("Folder", path);
    tell("Date", date);
    tell("Length", `${length.toFixed(1)} ${head.unit}`);
    tell("Deepest invert", `${depth.toFixed(1)} ${head.unit}`);
    if (lon === null) tell("Place", head.sketch);
    tell("Findings", `${findings.length}, ${past} past, ${dangers} ${dangers === 1 ? "danger" : "dangers"}`);
    tell("Worst verdict", worst && head.verdicts[worst]);
    tell("May be wrong", diagnosis);
    const list = element("picked-findings");
    list.replaceChildren();
    for (const [, , what, at, of, verdict] of findings.slice(0, 50)) {
      const said = [of === 0 && "danger", verdict && head.verdicts[verdict]].filter(Boolean).join("; ");
      const item = add(list, "li", `${at.toFixed(1)} ${head.unit}: ${short(what, 200)}${said && " (" + said + ")"}`);
      item.dir = "auto";
      if (of === 0) item.className = "danger";
    }
    if (findings.length > 50) add(list, "li", `and ${findings.length - 50} more`);
    if (fly && lon !== null) map.setView([lat / UNITS, lon / UNITS], Math.max(map.getZoom(), 19), {animate: false});
    redraw();
  }

  map.on("click", event => {
    const {x, y} = event.layerPoint;
    let best = null, nearest = Infinity;
    for (const one of drawn) {
      const gap = Math.hypot(one[0] - x, one[1] - y) - one[2];
      if (gap < 4 && gap < nearest) { nearest = gap; best = one; }
    }
    if (!best) return;
    if (best[3] >= 0) pick(best[3], false);
    else map.setView(event.latlng, map.getZoom() + 2);
  });

  // Typed words: each must be in the site's name or folder.
  const folded = [];
  let waiting = 0;
  function search() {
    if (!folded.length) for (const [path, name] of sites) folded.push((name + " " + path).toLowerCase());
    const words = element("search").value.toLowerCase().split(/\s+/).filter(Boolean);
    const hits = element("hits");
    hits.replaceChildren();
    if (!words.length) return;
    let found = 0;
    for (let i = 0; i < sites.length; i++) {
      if (!words.every(word => folded[i].includes(word))) continue;
      if (++found > 12) continue;
      const button = add(add(hits, "li", ""), "button", short(sites[i][1], 60));
      add(button, "small", short(sites[i][0], 60));
      button.type = "button";
      button.addEventListener("click", () => { hits.replaceChildren(); pick(i, true); });
    }
    if (!found) add(hits, "li", "No site has these words.");
    if (found > 12) add(hits, "li", `and ${found - 12} more`);
  }
  element("search").addEventListener("input", () => { clearTimeout(waiting); waiting = setTimeout(search, 120); });

  const tally = new Array(head.classes.length).fill(0);
  for (const of of kind) tally[of]++;  // of those on the map
  head.classes.forEach((one, k) => {
    const label = add(element("classes"), "label", "");
    const box = add(label, "input", "");
    box.type = "checkbox";
    box.checked = true;
    const swatch = add(label, "canvas", "");
    swatch.width = swatch.height = 18;
    swatch.setAttribute("aria-hidden", "true");
    mark(swatch.getContext("2d"), k, 9, 9, 7);
    add(label, "span", `${one.words} (${tally[k].toLocaleString("en")})`);
    box.addEventListener("change", () => { shown[k] = box.checked; redraw(); });
  });
  const whole = add(element("classes"), "button", "See all sites");
  whole.type = "button";
  whole.addEventListener("click", seeAll);
  // On paper all that is in view now is seen, as large as the sheet has it.
  const root = document.documentElement;
  window.addEventListener("beforeprint", () => {
    const before = {seen: map.getBounds(), middle: map.getCenter(), zoom: map.getZoom()};
    root.classList.add("paper");
    map.invalidateSize({animate: false});
    map.fitBounds(before.seen, {animate: false});
    window.addEventListener("afterprint", () => {
      root.classList.remove("paper");
      map.invalidateSize({animate: false});
      map.setView(before.middle, before.zoom, {animate: false});
    }, {once: true});
  });
  const sketches = sites.length - count;
  element("count").textContent = `${count.toLocaleString("en")} sites on the map.` +
    (sketches ? ` ${sketches.toLocaleString("en")} more ${sketches === 1 ? "is tied to no place: find it" : "are tied to no place: find them"} by name.` : "");

  function follow() {
    if (!location.hash.startsWith("#site=")) return;
    let path = "";
    try { path = decodeURIComponent(location.hash.slice(6)); } catch { return; }
    const i = sites.findIndex(one => one[0] === path);
    if (i >= 0) pick(i, true);
    else add(element("hits"), "li", `${short(path, 120)} is not among the sites that were solved.`);
  }
  window.addEventListener("hashchange", follow);
  follow();
  document.documentElement.dataset.ready = "yes";
})();
